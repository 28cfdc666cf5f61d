"""Longer parts: what a seam costs as a frame grows from 1 seam to 16.

    python benchmarks/long_frame.py [--grade quick] [--seams 1,2,4,8,16] [--most 2]

A rail of a metre with a post for every four seams (`cases/tracker_frame.toml`), its seams welded in
turn from post to post, each with its arc and the pause after it; the last cooling is not counted.
`--most` stops a row after so many seams: seconds and counts are a seam's, so they stay the same.
Prints Markdown. Every row is a process of its own, so that its peak memory can be read.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from pathlib import Path

from common import header, machine, row
from demo import peak_memory

CASE = Path(__file__).resolve().parents[1] / "cases" / "tracker_frame.toml"
SIDES = ("front:+x", "back:-x", "right:uphill", "left:uphill")
COUNTED = ("steps", "iterations", "factorisations", "back", "heat")
SPACING = {1: 460.0, 2: 460.0, 4: 230.0}  # mm, for so many posts on a metre


def changes_for(seams: int) -> list[str]:
    """The case with so many seams welded, a post for every four."""
    posts = max(1, seams // 4)
    order = [f"post{p + 1}-{side}" for side in SIDES for p in range(posts)][:seams]
    out = [f"part.posts={posts}", f"part.spacing={SPACING[posts]} mm"]
    out.append(f"schedule.order={json.dumps(order)}")
    return [*out, *(["gauge.post2.at=post1 end"] if posts == 1 else [])]


def measure(seams: int, grade: str, most: int) -> dict:
    """Weld some or all of so many seams."""
    from weldsim.case.load import load_case
    from weldsim.simulation.steps import build_model, simulate

    model = build_model(load_case(str(CASE), changes_for(seams)), grade)
    counts = {"steps": 0, "iterations": 0, "factorisations": 0, "back": 0, "heat": 0, "retries": 0}
    begin, cpu, done, longest = time.perf_counter(), used(), 0, min(most, seams)
    for step in simulate(model):
        ended = int((step.state.stops == step.state.stops).sum())  # not nan
        effort = step.effort
        counts["steps"] += 1
        counts["iterations"] += effort.iterations
        counts["factorisations"] += effort.factorisations
        counts["back"] += effort.back_substitutions
        counts["heat"] += effort.heat_iterations
        counts["retries"] += effort.retries
        last_stop = step.state.stops[ended - 1] if ended else float("inf")
        done = ended
        if ended >= longest and step.time >= last_stop + 44.9:  # s, the pause of the case
            break
    each = {key: value / done for key, value in counts.items()}
    return {
        **each, "seams": seams, "posts": max(1, seams // 4), "grade": grade, "done": done,
        "equations": int(model.mechanics.points.size), "nodes": int(model.heat.points.shape[0]),
        "wall": (time.perf_counter() - begin) / done, "cpu": (used() - cpu) / done,
        "memory": peak_memory(),
    }  # fmt: skip


def used() -> float:
    """Processor time of this process. [s]"""
    times = os.times()
    return times.user + times.system


def in_process(*what: object) -> dict:
    """`measure` in a process of its own."""
    code = f"import json, long_frame; print(json.dumps(long_frame.measure(*{what!r})))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True,
        cwd=Path(__file__).parent,
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError(done.stderr)
    return dict(json.loads(done.stdout.splitlines()[-1]))


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--grade", default="quick")
    options.add_argument("--seams", default="1,2,4,8,16")
    options.add_argument("--most", type=int, default=16)
    asked = options.parse_args()
    print(machine())
    print(header("seams", "posts", "equations", "heat nodes", "seams measured", "steps a seam",
                 "iterations", "factorisations", "back-substitutions", "heat systems",
                 "processor s a seam", "wall s a seam", "memory"))  # fmt: skip
    for seams in map(int, asked.seams.split(",")):
        r = in_process(seams, asked.grade, asked.most)
        size = (f"{r['equations']:,}", f"{r['nodes']:,}", r["done"])
        times = (f"{r['cpu']:.1f}", f"{r['wall']:.1f}", f"{r['memory']:.0f} MB")
        print(row(seams, r["posts"], *size, *(f"{r[k]:.0f}" for k in COUNTED), *times), flush=True)


if __name__ == "__main__":
    main()
