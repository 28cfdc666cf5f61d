"""One iteration of the heat solve against its factorisation and plain scikit-fem.

    python benchmarks/heat.py [--sizes 7k,23k] [--plain 7k,23k]

Prints Markdown. Everything compared runs in this process, in turn; the best of each is taken.
"""

from __future__ import annotations

import argparse

import common
import numpy as np
from common import Contest, header, machine, row

from weldsim.materials.material import load_material
from weldsim.physics.heat_conduction import HeatModel, heat_step
from weldsim.physics.heat_mesh import HeatMesh
from weldsim.physics.heat_tables import HeatTables

GRIDS = {"tiny": (12, 3, 5), "7k": (75, 5, 18), "23k": (100, 8, 29)}
STEP = 0.5  # s
FILM, EMISSIVITY = 10.0, 0.8
SEEN = {"7k": "0.009", "23k": "0.06"}  # s, seen to be reachable on two cores


class Ours:
    """A whole `heat_step`; its time over its iterations is what one iteration costs."""

    def __init__(self, counts, threads: int = 2):
        import skfem

        self.mesh = mesh = skfem.MeshHex1.init_tensor(*common.axes(counts))
        points = mesh.p.T.copy()
        self.tables = HeatTables.of(load_material("carbon-steel"))
        cells = HeatMesh.of(points, mesh.t.T, threads)
        self.model = HeatModel(cells, self.tables, common.AMBIENT, FILM, EMISSIVITY)
        self.active = np.ones(mesh.t.shape[1], dtype=bool)
        self.exchange = self.model.exchange(self.active)
        self.temperature = common.hot_spot(points)
        weight = np.exp(-((points[:, 0] - common.SPOT) ** 2 + points[:, 2] ** 2) / 0.004**2)
        weight *= self.exchange.volume
        self.power = 1400.0 * weight / weight.sum()
        factor = self.model.mesh.solver.factor

        def remember(data, **how):
            self.matrix = data
            factor(data, **how)

        self.model.mesh.solver.factor = remember  # keeps the last matrix for the bare factorisation
        self.iterations = 0
        self.step()

    def step(self):
        temperature, _, self.iterations = heat_step(
            self.model, self.temperature, self.exchange, self.active, self.power, STEP
        )
        return temperature

    def factor_and_solve(self):
        engine = self.model.mesh.solver._engine
        engine.factor(self.matrix)
        return engine.solve(self.power)


class PlainForms:
    """The same iteration with scikit-fem forms and SuperLU."""

    def __init__(self, ours: Ours):
        import skfem
        from skfem.helpers import dot, grad

        self.ours = ours
        self.basis = skfem.Basis(ours.mesh, skfem.ElementHex1(), intorder=3)
        self.order = ours.mesh.p.shape[1]

        @skfem.BilinearForm
        def tangent(u, v, w):
            return w["k"] * dot(grad(u), grad(v)) + w["c"] * u * v

        @skfem.LinearForm
        def residual(v, w):
            return -w["k"] * dot(w["T"].grad, grad(v)) - w["q"] * v

        self.tangent, self.residual = tangent, residual

    def iterate(self):
        import scipy.sparse as sp
        from scipy.sparse.linalg import spsolve

        ours, tables = self.ours, self.ours.tables
        guess = ours.temperature
        field = self.basis.interpolate(guess)
        old = tables.heat(np.asarray(self.basis.interpolate(ours.temperature)))[0]
        heat, capacity = tables.heat(np.asarray(field))
        rate = tables.density / STEP
        k = tables.conduct(np.asarray(field))
        loss, slope = ours.model.loss(guess, ours.exchange)
        A = self.tangent.assemble(self.basis, k=k, c=rate * capacity)
        b = self.residual.assemble(self.basis, k=k, T=field, q=rate * (heat - old))
        return spsolve((A + sp.diags(slope)).tocsc(), b + ours.power - loss)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sizes", default="7k,23k", help="of " + ", ".join(GRIDS))
    parser.add_argument("--plain", default="7k,23k", help="sizes for plain scikit-fem, or none")
    parser.add_argument("--repeats", type=int, default=15)
    options = parser.parse_args()
    print(f"One heat iteration, best of {options.repeats} in turn; {machine()}.\n")
    print(header("nodes", "ours", "seen reachable", "factorisation + solve", "ratio",
                 "plain scikit-fem", "times slower"))  # fmt: skip
    for name in options.sizes.split(","):
        ours = Ours(GRIDS[name])
        times = Contest({"ours": ours.step, "alone": ours.factor_and_solve}).run(options.repeats)
        mine, alone = times["ours"] / ours.iterations, times["alone"]
        cells = [len(ours.temperature), f"{mine:.4f} s", f"{SEEN.get(name, '-')} s"]
        cells += [f"{alone:.4f} s", f"{mine / alone:.2f}"]
        if name in options.plain.split(","):
            plain = Contest({"plain": PlainForms(ours).iterate}).run(1)["plain"]
            cells += [f"{plain:.2f} s", f"{plain / mine:.0f}"]
        else:
            cells += ["-", "-"]
        print(row(*cells), flush=True)
    print(f"\nSolver: {ours.model.mesh.solver.name}; {ours.iterations} iterations a step.")


if __name__ == "__main__":
    main()
