"""A case on a graphics card and on the processor of the same machine.

    python benchmarks/card.py [--case cases/mast_stub.toml] [--grade quick] [--devices gpu,cpu]
                              [--iteration]

Prints Markdown: the whole run on each device, and how far the gauges lie apart; with --iteration
the parts of one Newton iteration on the card instead.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from common import header, row


def run(case_file: str, grade: str, device: str) -> dict:
    """A whole case on a device; the kernels were compiled before."""
    from weldsim.case.load import load_case
    from weldsim.simulation.steps import build_model, simulate

    model = build_model(load_case(case_file), grade, device=device)
    for _ in zip(range(2), simulate(model), strict=False):  # compiles
        pass
    began, steps, effort = time.perf_counter(), 0, np.zeros(4, dtype=int)
    for step in simulate(model):
        steps += 1
        e = step.effort
        effort += [e.iterations, e.heat_iterations, e.factorisations, e.retries]
    wall, ends = time.perf_counter() - began, step.gauges.display()  # mrad, mm, degC
    return {
        "equations": model.mechanics.pattern.size, "steps": steps, "effort": effort.tolist(),
        "wall": wall, "ends": ends,
    }  # fmt: skip


def iteration(case_file: str, grade: str, repeats: int = 10) -> list[tuple[str, float]]:
    """Milliseconds of the parts of an iteration at the start of a case, hot in its middle."""
    import cupy

    from weldsim.case.load import load_case
    from weldsim.physics.gpu.update import CardFactor
    from weldsim.physics.plasticity import Properties
    from weldsim.simulation.steps import build_model, start_state

    model = build_model(load_case(case_file), grade, device="gpu")
    state, mechanics = start_state(model), model.mechanics.card.mechanics
    middle = model.mechanics.points[model.mechanics.cells].mean(axis=1)
    hot = 600 * np.exp(-((middle / 0.02) ** 2).sum(axis=1))
    at_points = model.at_quadrature(state.temperature) + hot[:, None]
    properties = Properties.of(model.material, at_points, model.active_points(state))
    held = model.supports(state.closed_clamps).ravel()
    mechanics.load(properties, state.internal_variables)
    u = cupy.zeros(mechanics.pattern.size)
    residual = cupy.where(cupy.asarray(held), 0.0, -mechanics.evaluate(u, ()))

    def newton() -> None:
        mechanics.evaluate(u, (), tangent=True)
        factor = CardFactor.of(mechanics, held, ())
        mechanics.evaluate(u + factor.apply(residual), ())

    parts = {
        "force alone": lambda: mechanics.evaluate(u, ()),
        "force and tangent": lambda: mechanics.evaluate(u, (), tangent=True),
        "tangent, factorisation": lambda: (
            mechanics.evaluate(u, (), tangent=True), CardFactor.of(mechanics, held, ())
        ),
        "back-substitution": lambda: mechanics.solver.solve(residual),
        "whole iteration": newton,
    }  # fmt: skip
    out = []
    for name, work in parts.items():
        for _ in range(3):  # compiles and records
            work()
        cupy.cuda.Device().synchronize()
        began = time.perf_counter()
        for _ in range(repeats):
            work()
        cupy.cuda.Device().synchronize()
        out.append((name, 1e3 * (time.perf_counter() - began) / repeats))
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--case", default="cases/mast_stub.toml")
    parser.add_argument("--grade", default="quick")
    parser.add_argument("--devices", default="gpu,cpu")
    parser.add_argument("--iteration", action="store_true")
    asked = parser.parse_args()
    if asked.iteration:
        print(header("part", "ms"))
        for name, milliseconds in iteration(asked.case, asked.grade):
            print(row(name, f"{milliseconds:.2f}"))
        return
    found = {d: run(asked.case, asked.grade, d) for d in asked.devices.split(",")}
    print(
        header(
            "device",
            "equations",
            "steps",
            "iterations",
            "heat",
            "factorisations",
            "retries",
            "wall",
        )
    )
    for device, r in found.items():
        print(row(device, r["equations"], r["steps"], *r["effort"], f"{r['wall']:.1f} s"))
    if len(found) == 2:
        one, two = (r["ends"] for r in found.values())
        for k in one:
            print(f"{k}: {one[k]:.9g} and {two[k]:.9g}, apart {abs(one[k] - two[k]):.2g}")


if __name__ == "__main__":
    main()
