"""Torch steps of the tee with the far field condensed against the whole tangent, side by side.

    python benchmarks/condense.py [--grade quick] [--steps 6]

Prints Markdown. Both follow the same weld from the same state; they have to read the same.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from common import header, machine, row

CASE = Path(__file__).resolve().parents[1] / "cases" / "mast_stub.toml"
ALIKE = 2e-3  # of the largest reading: what Newton's tolerance leaves open over some steps


def follow(model, steps: int, condensed: bool):
    """Seconds and iterations a step, and the last readings, of the first torch steps."""
    from weldsim.pipeline import advance, next_event, start_state

    if not condensed:
        model.focus = lambda state: None
    state = start_state(model)
    state, _ = advance(model, state, next_event(model, state))  # analysis, compilation
    begin, iterations = time.perf_counter(), 0
    for _ in range(steps):
        state, effort = advance(model, state, next_event(model, state))
        iterations += effort["iterations"]
    wall = time.perf_counter() - begin
    return wall / steps, iterations / steps, model.read(state)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--grade", default="quick")
    parser.add_argument("--steps", type=int, default=6)
    options = parser.parse_args()
    from weldsim.case import load_case
    from weldsim.model import build_model

    case = load_case(CASE)
    found = {
        name: follow(build_model(case, options.grade), options.steps, condensed)
        for name, condensed in (("whole tangent", False), ("far field condensed", True))
    }
    (_, _, whole), (_, _, near) = found.values()
    scale = max(abs(v) for v in whole.values())
    if max(abs(whole[k] - near[k]) for k in whole) > ALIKE * scale:
        raise SystemExit(f"the two do not read the same: {whole} and {near}")
    unknowns = build_model(case, options.grade).mechanics.pattern.size
    print(
        f"First torch steps of the tee, grade {options.grade}, {unknowns} unknowns; {machine()}.\n"
    )
    print(header("solver", "a torch step", "iterations a step", "an iteration, heat included"))
    for name, (seconds, iterations, _) in found.items():
        print(row(name, f"{seconds:.2f} s", f"{iterations:.1f}", f"{seconds / iterations:.2f} s"))
    one, two = (f[0] for f in found.values())
    print(f"\nWhole over condensed: {one / two:.2f} a step.")


if __name__ == "__main__":
    main()
