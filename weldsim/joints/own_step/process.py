"""Meshing of a STEP file in a child process, whose crash is an error like any other here."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

from weldsim.bootstrap import child_environment
from weldsim.errors import MeshError
from weldsim.joints.own_step.job import MeshedSolids, StepJob, read_answer
from weldsim.system.libraries import private_folder

MODULE = "weldsim.joints.own_step.child"


def mesh_in_child(job: StepJob) -> MeshedSolids:
    """Mesh a STEP file in a process of its own; any thread may ask for it.

    Parameters
    ----------
    job : StepJob
        What to mesh, and how fine.

    Returns
    -------
    MeshedSolids

    Raises
    ------
    NotAllowed
        If the file, a seam or a face is not what it must be.
    MeshError
        If Gmsh cannot mesh the solids, or crashes.
    SetupError
        If Gmsh is missing.
    """
    with tempfile.TemporaryDirectory(prefix="weldsim-") as folder:
        answer, said = Path(folder) / "answer.npz", Path(folder) / "said.txt"
        code = _run_child(job, answer, said)
        if code == 0 and answer.exists():
            return read_answer(answer)
        words = said.read_text(encoding="utf-8", errors="replace")
    if code > 0 and "Traceback" in words:
        raise RuntimeError(f"meshing {job.file} failed in its process:\n{words}")
    raise MeshError(
        f"{Path(job.file).name} crashes Gmsh ({_how_it_ended(code)}): the file is damaged, for "
        "example by a line break inside a text; export it anew from the drawing program"
    )


def _run_child(job: StepJob, answer: Path, said: Path) -> int:
    """Exit code of the child; it is ended when this call is interrupted."""
    environment = child_environment(private_folder())
    environment["PYTHONPATH"] = os.pathsep.join(p for p in sys.path if p)
    command = [sys.executable, "-m", MODULE, str(answer)]
    with (
        open(said, "wb") as talk,
        subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=talk, stderr=talk, env=environment
        ) as child,
    ):
        try:
            assert child.stdin is not None  # it is a pipe
            try:
                child.stdin.write(job.to_json().encode() + b"\n")
                child.stdin.flush()
            except BrokenPipeError:
                pass  # it died before it read the job: its exit code says more
            return child.wait()
        finally:
            if child.poll() is None:
                child.kill()


def _how_it_ended(code: int) -> str:
    """Exit code of a crashed process in words."""
    if code >= 0:  # Windows has large codes where others have signals
        return f"exit code {code:#x}"
    try:
        return signal.Signals(-code).name
    except ValueError:
        return f"signal {-code}"
