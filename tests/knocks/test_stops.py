"""Stops of every kind: whatever ends a run or a plan, what was computed is there to go on from.

Exit codes are those of a POSIX shell: 128 and the number of the signal.
"""

import errno
import json
import os
import signal
import socket
import subprocess
import sys
import time
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from tests.knocks import kills, plan_kills
from tests.places import CASES, ROOT
from weldsim.case.load import load_case
from weldsim.cli import run as run_verb
from weldsim.cli.main import app
from weldsim.errors import StoreError
from weldsim.runs import runner
from weldsim.runs.folder import RunFolder
from weldsim.runs.reading import read_gauges
from weldsim.runs.runner import RunOptions, resume_case, run_case
from weldsim.system import files
from weldsim.system.signals import ToldToEnd

BAR = CASES / "pivot_arm_one_bead.toml"
SHORT = ("solve.grade=sketch", "solve.end=20 s", "solve.error_estimate=false")
ENVIRONMENT = {
    **os.environ,
    "PYTHONPATH": os.pathsep.join(p for p in (str(ROOT), os.environ.get("PYTHONPATH")) if p),
}
posix = pytest.mark.skipif(os.name != "posix", reason="signals of POSIX systems")


def run_json(folder):
    return json.loads((Path(folder) / "run.json").read_text(encoding="utf-8"))


def wait_for(found, seconds=120.0):
    """Wait until something is so; the tests that need it fail where it never is."""
    until = time.monotonic() + seconds
    while not found():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.02)


@pytest.fixture
def start():
    """Start `weldsim`; it is gone when the test is over.

    A shell's `nohup` has its programs ignore SIGHUP, and so do we where these tests run under it:
    a program started here hears of a closed terminal all the same.
    """
    started = []

    def begin(*words, **options):
        before = signal.signal(signal.SIGHUP, signal.SIG_DFL)  # what a new process takes over
        try:
            command = [sys.executable, "-m", "weldsim", *words]
            started.append(subprocess.Popen(command, text=True, env=ENVIRONMENT, **options))
        finally:
            signal.signal(signal.SIGHUP, before)
        return started[-1]

    yield begin
    for process in started:
        process.kill()
        process.wait()


@pytest.mark.slow
@posix
@pytest.mark.parametrize("sent", [signal.SIGTERM, signal.SIGHUP], ids=lambda s: s.name)
def test_a_run_that_is_told_to_end_keeps_its_state_and_resumes(start, tmp_path, sent):
    """Checkpoints are 15 s apart and the run takes a few, so that this one was written on the way
    out; the signal comes twice, as from a terminal that is closed."""
    changes = [part for change in SHORT for part in ("--set", change)]
    folder = tmp_path / "run"
    run = start("run", str(BAR), *changes, "--out", str(folder), stderr=subprocess.PIPE)
    wait_for(lambda: list(folder.glob("fields/frame_0002.vtu")) or run.poll() is not None)
    run.send_signal(sent)
    run.send_signal(sent)
    said = run.communicate(timeout=120)[1]
    assert run.returncode == 128 + sent, said
    assert f"weldsim run --resume {folder}" in said and "Traceback" not in said
    assert run_json(folder)["status"] == "stopped"
    assert list(folder.glob("state/checkpoint_*.npz"))
    resume_case(folder)
    whole = run_case(load_case(BAR, SHORT), tmp_path / "whole")
    found, expected = (read_gauges(f / "gauges.csv") for f in (folder, whole))
    for name, values in expected.items():  # the promise of --resume, README
        np.testing.assert_allclose(found[name], values, rtol=1e-9, atol=1e-12)


@pytest.mark.slow
@posix
def test_runs_killed_at_any_moment_resume_to_the_same_bits():
    tally = kills.knock(3, seed=1)
    assert not tally.broke, tally.report()
    assert tally.accepted == 3


@pytest.mark.slow
def test_a_killed_plan_comes_to_the_same_rows():
    tally = plan_kills.knock(1, seed=1)
    assert not tally.broke, tally.report()
    assert tally.accepted == 1


@pytest.mark.slow
@posix
@pytest.mark.parametrize("sent", [signal.SIGTERM, signal.SIGHUP], ids=lambda s: s.name)
def test_the_page_ends_in_peace_when_it_is_told_to(start, tmp_path, sent):
    page = start(
        "serve", "--no-open", "--port", "0", "--work", "work",
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, cwd=tmp_path,
    )  # fmt: skip
    said = [page.stdout.readline(), page.stdout.readline()]
    assert "stop with Ctrl-C" in said[-1]
    address = said[0].split("//")[1].split("/")[0].split(":")
    wait_for(lambda: answers(address))
    page.send_signal(sent)
    rest = page.communicate(timeout=60)[0]
    assert page.returncode > 0 and "Traceback" not in rest, rest


def answers(address):
    try:
        socket.create_connection((address[0], int(address[1])), timeout=1).close()
    except OSError:
        return False
    return True


# One worker that says its number and sleeps; the parent waits for it.
WAITING = """
import sys
from weldsim.studies.plan.executor import LocalExecutor
from tests.knocks.test_stops import sleepy
if __name__ == "__main__":
    with LocalExecutor(2, sleepy) as executor:
        futures = {executor.submit(sys.argv[1])}
        executor.wait(futures)
"""


def sleepy(folder):
    Path(folder, str(os.getpid())).touch()
    time.sleep(600)


def alive(number):
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    stat = Path(f"/proc/{number}/stat")  # one that nobody waits for stays as a zombie
    return not stat.exists() or stat.read_text().rpartition(")")[2].split()[0] != "Z"


@pytest.mark.slow
@posix
def test_workers_of_a_plan_that_was_killed_end_too(tmp_path):
    script, at = tmp_path / "waiting.py", tmp_path / "workers"
    script.write_text(WAITING, encoding="utf-8")
    at.mkdir()
    plan = subprocess.Popen([sys.executable, str(script), str(at)], env=ENVIRONMENT)
    wait_for(lambda: any(at.iterdir()) or plan.poll() is not None)
    (worker,) = (int(p.name) for p in at.iterdir())
    assert alive(worker)
    plan.kill()
    plan.wait()
    wait_for(lambda: not alive(worker), 20.0)


def begun(path):
    """A folder as a run leaves it that was killed before its first step."""
    folder = RunFolder.create(path)
    folder.write_json("run.json", {"status": "running", "format": 2})
    folder.write_json("case.json", {"source": "", "source_file": "", "overrides": []})
    return folder


def test_a_run_is_computed_by_one_process_at_a_time(tmp_path):
    folder = begun(tmp_path / "run")
    before = {p.name: p.read_bytes() for p in folder.path.glob("*.json")}
    with folder.kept_by_one(), pytest.raises(StoreError, match="another process computes this run"):
        resume_case(folder.path)
    assert {p.name: p.read_bytes() for p in folder.path.glob("*.json")} == before


def test_a_folder_left_empty_by_a_kill_is_taken_by_the_next_run(tmp_path):
    path = tmp_path / "run"
    RunFolder.create(path)  # killed here: folders, a lock and half a file
    (path / "state" / "run.lock").touch()
    (path / "case.123.json.partial").write_text("{")
    with pytest.raises(StoreError, match="a run may begin in it"):
        RunFolder.resume(path)
    assert RunFolder.create(path).path == path
    (path / "state" / "notes.txt").write_text("mine")
    with pytest.raises(StoreError, match="folder with files in it"):
        RunFolder.create(path)


@pytest.mark.parametrize("stop, code", [(KeyboardInterrupt, 130), (lambda: ToldToEnd(15), 143)])
def test_a_stop_before_anything_is_written_names_no_folder(tmp_path, monkeypatch, stop, code):
    def meshing(*_):
        raise stop()

    monkeypatch.setattr(run_verb, "run_case", meshing)
    done = CliRunner().invoke(app, ["run", str(BAR), "--out", str(tmp_path / "run")])
    assert done.exit_code == code
    assert done.stderr.splitlines()[-1] == "stopped; nothing is written yet"


@pytest.mark.parametrize("stop, code", [(KeyboardInterrupt, 130), (lambda: ToldToEnd(15), 143)])
@pytest.mark.parametrize(
    ("verb", "computes", "words"),
    [
        ("fit", "fit", "--measured x.csv --vary arc.efficiency"),
        ("next", "open_study", "--after A"),
        ("preset", "find_preset", ""), ("correct", "find_correction", ""),
        ("why", "read_run", ""), ("validate", "validate", "--quick"),
    ],
)  # fmt: skip
def test_every_verb_that_runs_ends_with_the_code_of_the_signal(
    monkeypatch, verb, computes, words, stop, code
):
    """128 and the number of the signal, as a POSIX shell has it."""

    def compute(*_, **__):
        raise stop()

    module = import_module(f"weldsim.cli.{verb}")
    monkeypatch.setattr(module, computes, compute)
    if verb == "fit":
        monkeypatch.setattr(module, "_experiment", lambda *_: None)
    given = [] if verb == "validate" else [str(BAR)]
    done = CliRunner().invoke(app, [verb, *given, *words.split()])
    assert done.exit_code == code, done.output
    assert done.stderr.splitlines()[-1].startswith("stopped")


@pytest.mark.parametrize(
    "verb, computes, words, folder",
    [
        ("preset", "find_preset", "--out tilt.json", "tilt.runs"),
        ("correct", "find_correction", "--out line.json", "line.runs"),
        ("why", "sweep_heats", "--crossover --out heats", "heats/runs"),
    ],
)
def test_a_search_that_is_stopped_keeps_its_runs(
    monkeypatch, tmp_path, verb, computes, words, folder
):
    asked = []

    def compute(*given, **named):
        kept = named.get("kept") or given[-1].kept
        asked.append(kept.folder)
        raise KeyboardInterrupt

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(import_module(f"weldsim.cli.{verb}"), computes, compute)
    done = CliRunner().invoke(app, [verb, str(BAR), *words.split()])
    assert asked == [Path(folder)] and done.exit_code == 130
    assert "resume with the same command" in done.stderr


def read_only(monkeypatch):
    """The disk takes nothing from now on, as one the system has put to read-only after an error."""

    def refuse(*args, **kwargs):
        raise OSError(errno.EROFS, "Read-only file system")

    for place, name in ((files.os, "replace"), (files.os, "fsync"), (Path, "unlink")):
        monkeypatch.setattr(place, name, refuse)


@pytest.mark.slow
@pytest.mark.parametrize("ends", ["by itself", "by Ctrl-C"])
def test_a_disk_that_turns_read_only_midway_is_one_line(tmp_path, monkeypatch, ends):
    seen, notices = [], []

    def progress(share, text):
        seen.append(text)
        if len(seen) == 3:
            read_only(monkeypatch)
            if ends == "by Ctrl-C":
                raise KeyboardInterrupt

    options = RunOptions(checkpoint_seconds=0.0, progress=progress, notice=notices.append)
    with pytest.raises(StoreError if ends == "by itself" else KeyboardInterrupt) as caught:
        run_case(load_case(BAR, SHORT), tmp_path / "run", options)
    if ends == "by itself":
        assert "Read-only file system" in str(caught.value) and "\n" not in str(caught.value)
    said = " ".join(notices)
    assert "still says running" in said and "no checkpoint of this moment" in said
    monkeypatch.undo()
    resume_case(tmp_path / "run")
    assert run_json(tmp_path / "run")["status"] == "complete"


@pytest.mark.slow
def test_a_mistake_of_ours_midway_leaves_no_folder_that_says_running(tmp_path, monkeypatch):
    def broken(*_):
        raise ValueError("an array is empty")

    monkeypatch.setattr(runner, "simulate", broken)
    with pytest.raises(ValueError, match="an array is empty"):
        run_case(load_case(BAR, SHORT), tmp_path / "run")
    found = run_json(tmp_path / "run")
    assert found["status"] == "failed"
    assert found["error"] == "unexpected: ValueError: an array is empty"
