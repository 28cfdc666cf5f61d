"""One mechanical Newton iteration against its factorisation, NGSolve, and plain scikit-fem.

    python benchmarks/newton.py [--sizes 10k,20k,70k] [--no-ngsolve] [--plain 10k,20k]

Prints Markdown. Everything compared runs in this process, in turn; the best of each is taken.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace

import common
import numpy as np
from common import Contest, header, machine, row

BARS = {"10k": (1.4, 0.35), "20k": (1.35, 0.4), "70k": (1.2, 0.6)}
PLAIN_BAR = 20.0


class Ours:
    """One Newton iteration as `solve_equilibrium` does it, full step accepted."""

    def __init__(self, problem):
        self.problem = problem
        self.held = problem.fixed.ravel()
        self.matrix = None

    def iterate(self):
        p, model = self.problem, self.problem.model
        force, _, _, _, data, scale = model.evaluate(
            p.displacement, p.properties, p.internal_variables, True
        )
        residual = -force
        self.size = float(np.linalg.norm(residual[~p.fixed])) / scale
        rhs = residual.ravel().copy()
        rhs[self.held] = 0.0
        model.solver.hold(data, self.held)
        model.solver.factor(data)
        step = model.solver.solve(rhs)
        self.work = float(np.vdot(step, rhs))
        self.matrix, self.rhs = data, rhs
        return step

    def factor_and_solve(self):
        engine = self.problem.model.solver._engine
        engine.factor(self.matrix)
        return engine.solve(self.rhs)

    def plastic_share(self) -> float:
        p = self.problem
        new = p.model.evaluate(p.displacement, p.properties, p.internal_variables, False)[3]
        return float(np.mean(new > p.internal_variables.equivalent_plastic_strain))


def check(problem, rivals) -> None:
    """Internal forces of all versions agree when ours has no mean dilatation either."""
    model = replace(problem.model, mean_grad=np.zeros((0, 3, 8)))
    ours = model.evaluate(
        problem.displacement, problem.properties, problem.internal_variables, False
    )[0]
    for rival in rivals:
        force = rival.force()
        force = force if force.ndim == 2 else rival.nodal(force)
        gap = np.linalg.norm(force - ours) / np.linalg.norm(ours)
        if gap > 1e-6:
            raise RuntimeError(f"{type(rival).__name__} solves another problem: {gap:.1e} apart")


def ngsolve_rivals(problem, quick: bool):
    """NGSolve with each solver and each way to write the tangent; the best counts."""
    from rival_ngsolve import FORMS, SOLVERS, CompiledForms

    found = {}
    for solver in SOLVERS:
        for form in FORMS[:1] if quick else FORMS:
            try:
                rival = CompiledForms(problem, solver, form)
                rival.iterate()
                found[f"NGSolve {solver}, tangent {form}"] = rival
            except Exception as error:  # one way may not work with this build of NGSolve
                print(f"NGSolve {solver}, {form}: {str(error).splitlines()[0]}", file=sys.stderr)
    return found


def compare(name, options):
    """Times of one grid [s] and the shares of plastic points."""
    problem = common.build(common.GRIDS[name])
    ours = Ours(problem)
    ours.iterate()
    contest = Contest({"ours": ours.iterate, "factorisation": ours.factor_and_solve})
    rivals = {}
    if options.ngsolve:
        rivals = ngsolve_rivals(problem, options.quick)
        check(problem, list(rivals.values())[:1])
        contest.jobs |= {k: v.iterate for k, v in rivals.items()}
    times = dict(contest.run(options.repeats, options.budget))
    if name in options.plain:
        from rival_scikit_fem import PlainForms

        plain = PlainForms(problem)
        check(problem, [plain])
        turns = Contest({"plain": plain.iterate, "ours": ours.iterate})
        turns.run(1 if name == "70k" else 3)
        times["plain"] = turns.best["plain"]
        times["ours"] = min(times["ours"], turns.best["ours"])
    return problem, ours, times


def quadratic(name, options):
    """Times of ours with 20-node bricks on every second grid line."""
    problem = common.build(common.GRIDS[name], "brick20")
    ours = Ours(problem)
    ours.iterate()
    times = Contest({"ours": ours.iterate, "factorisation": ours.factor_and_solve})
    return problem, times.run(options.repeats, options.budget)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sizes", default="10k,20k,70k", help="of " + ", ".join(common.GRIDS))
    parser.add_argument("--plain", default="10k,20k", help="sizes for plain scikit-fem, or none")
    parser.add_argument("--no-ngsolve", dest="ngsolve", action="store_false")
    parser.add_argument("--quick", action="store_true", help="only one form of the NGSolve tangent")
    parser.add_argument("--repeats", type=int, default=15)
    parser.add_argument("--budget", type=float, default=60.0, help="seconds a size")
    options = parser.parse_args()
    options.plain = options.plain.split(",")

    print(f"One Newton iteration, best of {options.repeats} in turn; {machine()}.\n")
    print(header("equations", "plastic points", "ours", "factorisation + solve", "ratio (bar)",
                 "NGSolve", "ratio (bar)", "plain scikit-fem", "times slower (bar)"))  # fmt: skip
    notes = []
    for name in options.sizes.split(","):
        problem, ours, times = compare(name, options)
        bars = BARS.get(name, ("-", "-"))
        mine, alone = times["ours"], times["factorisation"]
        rivals = {k: v for k, v in times.items() if k.startswith("NGSolve")}
        best = min(rivals.values(), default=None)
        cells = [problem.unknowns, f"{ours.plastic_share():.0%}", f"{mine:.4f} s"]
        cells += [f"{alone:.4f} s", f"{mine / alone:.2f} ({bars[0]})"]
        cells += [f"{best:.3f} s", f"{mine / best:.2f} ({bars[1]})"] if best else ["-", "-"]
        plain = times.get("plain")
        cells += (
            [f"{plain:.2f} s", f"{plain / mine:.0f} ({PLAIN_BAR:.0f})"] if plain else ["-", "-"]
        )
        print(row(*cells), flush=True)
        notes += [f"- {name}: {k} {v:.3f} s" for k, v in sorted(rivals.items(), key=lambda i: i[1])]
    print(f"\nSolver: {problem.model.solver.name}.\n" + "\n".join(notes))
    print("\n20-node bricks on every second grid line (an eighth of the cells):\n")
    print(header("8-node grid", "cells", "equations", "ours", "factorisation + solve", "ratio"))
    for name in options.sizes.split(","):
        problem, times = quadratic(name, options)
        mine, alone = times["ours"], times["factorisation"]
        print(row(name, problem.mesh.t.shape[1], problem.unknowns, f"{mine:.4f} s",
                  f"{alone:.4f} s", f"{mine / alone:.2f}"), flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
