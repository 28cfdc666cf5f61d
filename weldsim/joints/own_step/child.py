"""The process that meshes one STEP file: a job on its first line of input, an answer in a file.

Apart, since a damaged STEP file can crash Gmsh's reader and with it whoever called it. It ends
when its input does: nobody waits for the answer any more.
"""

from __future__ import annotations

import os
import sys
import threading
from pathlib import Path

from weldsim.errors import MeshError, WeldsimError
from weldsim.geometry.gmsh_reading import read_cells
from weldsim.geometry.gmsh_session import gmsh_session
from weldsim.joints.own_step.edges import curve_of
from weldsim.joints.own_step.job import MeshedSolids, StepJob, write_answer
from weldsim.joints.own_step.sizes import set_sizes
from weldsim.joints.own_step.solids import import_solids, name_groups


def mesh_solids(job: StepJob) -> MeshedSolids:
    """Mesh a STEP file in this process.

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
        If Gmsh cannot mesh the solids.
    SetupError
        If Gmsh is missing.
    """
    with gmsh_session() as gmsh:
        solids = import_solids(gmsh, job.file)
        curves = {name: curve_of(gmsh, name, path, job.unit) for name, path in job.seams.items()}
        regions = name_groups(gmsh, solids, curves, job.faces)
        mass = gmsh.model.occ.getMass
        volumes = {n: job.unit**3 * sum(mass(3, t) for t in tags) for n, tags in regions.items()}
        set_sizes(gmsh, curves, job)
        try:
            gmsh.model.mesh.generate(3)
        except Exception as error:  # Gmsh raises nothing more special
            raise MeshError(f"Gmsh could not mesh {Path(job.file).name}: {error}") from error
        u = job.unit
        gmsh.model.mesh.affineTransform([u, 0, 0, 0, 0, u, 0, 0, 0, 0, u, 0])
        return MeshedSolids(read_cells(gmsh), curves, volumes)


def main() -> None:
    """Do the job on standard input and write the answer into the file named on the command line."""
    job = StepJob.from_json(sys.stdin.buffer.readline())
    threading.Thread(target=_end_with_input, daemon=True).start()
    try:
        answer: MeshedSolids | WeldsimError = mesh_solids(job)
    except WeldsimError as error:
        answer = error
    write_answer(sys.argv[1], answer)


def _end_with_input() -> None:
    os.read(sys.stdin.fileno(), 1)
    os._exit(1)


if __name__ == "__main__":
    main()
