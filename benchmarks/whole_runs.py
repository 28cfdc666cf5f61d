"""Whole runs: iterations, factorisations and time of each, beside those of an earlier version.

    python benchmarks/whole_runs.py [bar:quick seam:quick tee:quick bar:normal tee:normal]
        [--before CHECKOUT]

`bar` is the demo bar, `tee` the mast stub with its four seams, `seam` the first of them; each until
it is cold. With `--before` every run is made by the package of another checkout too, straight
after. Prints Markdown: equations, steps, iterations, factorisations and back-substitutions of the
equilibria, iterations of the heat, halved steps, seconds without building the model, and where the
pointer ends. Every run is a process of its own; its first step is made twice and the first is not
timed, since it compiles.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import subprocess
import sys
import time
from pathlib import Path

CASES = Path(__file__).resolve().parent / "cases"
RUNS = {
    "bar": ("pivot_arm.toml", ()),
    "tee": ("mast_stub.toml", ()),
    "seam": ("mast_stub.toml", ('schedule.order=["front:+x"]',)),
}
USUAL = ["bar:quick", "seam:quick", "tee:quick", "bar:normal"]
HEAD = ["run", "version", "equations", "steps", "iterations", "factorisations",
        "back-substitutions", "heat iterations", "halved", "solve", "ends"]  # fmt: skip


def package(*places: str):
    """The first of some modules that there is: earlier versions had other rooms."""
    for place in places:
        try:
            return importlib.import_module(place)
        except ModuleNotFoundError:
            continue
    raise ModuleNotFoundError(places[0])


def measure(name: str, grade: str) -> dict:
    """Make a run in this process, with the package that is on the path."""
    load_case = package("weldsim.case.load", "weldsim.case").load_case
    steps = package("weldsim.simulation.steps", "weldsim.pipeline")
    file, changes = RUNS[name]
    model = steps.build_model(load_case(CASES / file, (f"solve.grade={grade}", *changes)))
    start = steps.start_state(model)
    steps.advance(model, start, steps.next_event(model, start))
    counts = dict.fromkeys(("steps", "iterations", "factored", "back", "heat", "halved"), 0)
    begin = time.perf_counter()
    for step in steps.simulate(model):
        effort = getattr(step, "effort", None)  # once every iteration was a factorisation
        counts["steps"] += 1
        counts["iterations"] += step.iterations
        counts["factored"] += getattr(effort, "factorisations", step.iterations)
        counts["back"] += getattr(effort, "back_substitutions", step.iterations)
        counts["heat"] += step.heat_iterations
        counts["halved"] += step.retries
    seconds = time.perf_counter() - begin
    ends = step.gauges.display() if hasattr(step.gauges, "display") else step.gauges
    ends = [float(v) for c, v in ends.items() if c.endswith("_mrad")][:2]
    size = int(model.mechanics.pattern.size)
    return {"equations": size, **counts, "solve": seconds, "ends": ends}


def in_process(checkout: Path, run: str) -> dict:
    """A run in a fresh process, with the package of a checkout."""
    done = subprocess.run(
        [sys.executable, __file__, "--one", run], capture_output=True, text=True, cwd=checkout,
        env={**os.environ, "PYTHONPATH": str(checkout)},
    )  # fmt: skip
    if done.returncode:
        raise SystemExit(f"{run}: {done.stderr.strip().splitlines()[-1]}")
    return json.loads(done.stdout.strip().splitlines()[-1])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("runs", nargs="*", default=USUAL, metavar="NAME:GRADE")
    parser.add_argument("--before", type=Path, help="checkout of an earlier version")
    parser.add_argument("--one", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        return print(json.dumps(measure(*options.one.split(":"))))
    versions = {"this": Path(__file__).resolve().parents[1]}
    if options.before:
        versions["before"] = options.before.resolve()
    print("| " + " | ".join(HEAD) + " |\n" + "|---" * len(HEAD) + "|")
    for run in options.runs:
        for version, checkout in versions.items():
            r = in_process(checkout, run)
            cells = [run, version, *(r[k] for k in ("equations", "steps", "iterations", "factored",
                     "back", "heat", "halved")), f"{r['solve']:.1f} s",
                     " / ".join(f"{e:.4f} mrad" for e in r["ends"])]  # fmt: skip
            print("| " + " | ".join(str(c) for c in cells) + " |", flush=True)


if __name__ == "__main__":
    main()
