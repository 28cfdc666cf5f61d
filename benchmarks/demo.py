"""The demo case: how much faster than the weld it is computed, and cost against mesh size.

    python benchmarks/demo.py [--case benchmarks/cases/pivot_arm.toml] [--grades quick,normal]
                              [--no-sizes]

Prints Markdown. Every run is a process of its own, so that its peak memory can be read.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
from common import header, machine, row

CASE = Path(__file__).resolve().parent / "cases" / "pivot_arm.toml"
BARS = {"quick": 20.0, "normal": 1.0}  # simulated time over wall time
COLD = 303.15  # K, cooled to 30 degC
# cells across a bead, cell along the travel in bead widths, cells through the wall
SIZES = ((2, 0.50, 1), (2, 0.35, 2), (3, 0.33, 2), (4, 0.25, 3))
SIZE_STEPS = 6


def measure(case_file: str, grade: str) -> dict:
    """Run a case until the hottest point is at 30 degC."""
    from weldsim.case.load import load_case
    from weldsim.simulation.steps import build_model, simulate

    begin = time.perf_counter()
    model = build_model(load_case(case_file, (f"solve.grade={grade}",)))
    built = time.perf_counter() - begin
    steps = iterations = 0
    for step in simulate(model):
        steps += 1
        iterations += step.iterations
        done = not np.any(np.isnan(step.state.stops))
        if done and step.state.temperature.max() <= COLD:
            break
    wall = time.perf_counter() - begin
    return {
        "equations": int(model.mechanics.points.size), "nodes": int(model.heat.points.shape[0]),
        "steps": steps, "iterations": iterations, "simulated": step.time, "wall": wall,
        "built": built, "memory": peak_memory(),
    }  # fmt: skip


def measure_size(case_file: str, index: int) -> dict:
    """Time of the first steps on a mesh of one of `SIZES`, the same steps on each."""
    from dataclasses import replace

    from weldsim.case.load import load_case
    from weldsim.geometry.grades import GRADES
    from weldsim.simulation.model import build_model
    from weldsim.simulation.steps import advance, next_event, start_state

    across, along, through = SIZES[index]
    grade = replace(GRADES["normal"], bead_cells=across, travel_cell=along, through_cells=through)
    case = load_case(case_file, ("solve.grade=normal",))
    model = build_model(case, grade)
    state = start_state(model)
    state, _ = advance(model, state, next_event(model, state))  # analysis, compilation
    begin, iterations = time.perf_counter(), 0
    for _ in range(SIZE_STEPS):
        state, effort = advance(model, state, next_event(model, state))
        iterations += effort.iterations
    wall = time.perf_counter() - begin
    return {
        "equations": int(model.mechanics.points.size), "nodes": int(model.heat.points.shape[0]),
        "step": wall / SIZE_STEPS, "iterations": iterations / SIZE_STEPS, "memory": peak_memory(),
    }  # fmt: skip


def peak_memory() -> float:
    """Peak resident memory of this process. [MB]"""
    try:
        import resource
    except ImportError:  # not on Windows
        return float("nan")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e6 if sys.platform == "darwin" else 1e3)


def in_process(*arguments: str) -> dict:
    """This script in a fresh process; its last line is the result."""
    command = [sys.executable, __file__, *arguments]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode:
        raise RuntimeError(done.stderr.strip().splitlines()[-1])
    return json.loads(done.stdout.strip().splitlines()[-1])


def exponent(sizes, costs) -> float:
    """Slope of cost against size in logarithms."""
    return float(np.polyfit(np.log(sizes), np.log(costs), 1)[0])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--case", default=str(CASE))
    parser.add_argument("--grades", default="quick,normal")
    parser.add_argument("--no-sizes", dest="sizes", action="store_false")
    parser.add_argument("--one-grade", help=argparse.SUPPRESS)
    parser.add_argument("--one-size", type=int, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one_grade:
        return print(json.dumps(measure(options.case, options.one_grade)))
    if options.one_size is not None:
        return print(json.dumps(measure_size(options.case, options.one_size)))

    print(f"Two beads and cooling to 30 degC; {machine()}.\n")
    print(header("grade", "equations", "heat nodes", "steps", "Newton iterations", "simulated",
                 "wall", "times faster than the weld (bar)", "peak memory"))  # fmt: skip
    for grade in filter(None, options.grades.split(",")):
        r = in_process("--case", options.case, "--one-grade", grade)
        print(row(grade, r["equations"], r["nodes"], r["steps"], r["iterations"],
                  f"{r['simulated']:.0f} s", f"{r['wall']:.1f} s",
                  f"{r['simulated'] / r['wall']:.1f} ({BARS.get(grade, '-')})",
                  f"{r['memory']:.0f} MB"), flush=True)  # fmt: skip
    if not options.sizes:
        return
    print("\nCost of one torch step against mesh size:\n")
    print(header("equations", "heat nodes", "Newton iterations a step", "a step", "peak memory"))
    found = []
    for index in range(len(SIZES)):
        r = in_process("--case", options.case, "--one-size", str(index))
        found.append(r)
        print(row(r["equations"], r["nodes"], f"{r['iterations']:.1f}", f"{r['step']:.2f} s",
                  f"{r['memory']:.0f} MB"), flush=True)  # fmt: skip
    n = [r["equations"] for r in found]
    print(f"\nTime grows as equations^{exponent(n, [r['step'] for r in found]):.2f}, "
          f"memory as equations^{exponent(n, [r['memory'] for r in found]):.2f}.")  # fmt: skip


if __name__ == "__main__":
    main()
