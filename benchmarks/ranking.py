"""How good is a ranking of sequences? Grades against a finer one, as they are and carried over.

    python benchmarks/ranking.py benchmarks/cases/mast_stub_plan.toml --out study

Ranks all sequences at each of `--grades` and compares them with the ends at a finer grade that
`benchmarks/ranking_ends.json` holds, or with `--against quick --count 24` with ends it computes
(sequences evenly spaced in their rank). Prints Markdown: what each grade costs, rank correlation
(Spearman, scipy), and what the ends are off, before and after the program has carried them over to
the finer grade by the few sequences it runs again. Welds in the study folder are used and added
to, so it can be stopped and resumed; `--few` computes only the sequences that are compared.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np

HEADS = (
    "grade", "welds", "processor min", "this time, min", "finer over it", "Spearman",
    "place of the finer best", "off, rms", "factors found", "then Spearman", "then finer over it",
    "then off, rms", "estimated error", "within it",
)  # fmt: skip
KNOWN = Path(__file__).with_name("ranking_ends.json")


def evenly(plan, outcomes, count: int) -> list:
    """Sequences evenly spaced in their rank, one of each group of mirror images."""
    seen, distinct = set(), []
    for moves in sorted(outcomes, key=lambda m: (outcomes[m].final, m)):
        key = round(outcomes[moves].final, 12)
        if key not in seen:  # mirror images tie to rounding
            seen.add(key)
            distinct.append(moves)
    at = np.unique(np.linspace(0, len(distinct) - 1, min(count, len(distinct))).round().astype(int))
    return [distinct[i] for i in at]


def known_ends(plan, path: Path) -> tuple[str, dict]:
    """Grade, and moves -> end as a row of numbers [SI]: its spot, or how far off alone."""
    kept = json.loads(path.read_text())
    moves = {along_axes(plan, m): m for m in plan.schedules()}
    ends = {moves[text]: 1e-3 * np.atleast_1d(end) for text, end in kept["ends"].items()}
    return kept["grade"], ends


def along_axes(plan, moves) -> str:
    """A sequence by the axes its arcs travel along, as the file of known ends has it."""
    axis = {s: {d: w for w, d in words.items() if w[0] in "+-"} for s, words in plan.known.items()}
    return ", ".join(f"{seam} {axis[seam][way]}" for seam, way in moves)


def as_known(plan, outcome, width: int) -> np.ndarray:
    """An outcome's end as wide as the known ones are."""
    from weldsim.studies.plan.drift import spot

    found = spot(plan, outcome)
    return found if len(found) == width else np.array([outcome.final])


def run_again(a: np.ndarray, count: int) -> np.ndarray:
    """Which of the sequences compared the program would run again: see `rows.to_confirm`."""
    order = np.argsort(np.linalg.norm(a, axis=1))
    return np.unique([*order[:count], order[len(order) // 2], order[-1]])


def compared(plan, a, b, c=None) -> tuple[str, np.ndarray]:
    """Cells of a table row, and the ends carried over, by a coarser grade `c` as well. [SI]"""
    from scipy.stats import spearmanr

    from weldsim.studies.plan.drift import fitted

    at, fine = np.linalg.norm(a, axis=1), np.linalg.norm(b, axis=1)
    again = run_again(a, plan.section.confirm)
    drift = fitted(a[again], b[again], None if c is None else c[again])
    pairs = list(zip(a, a if c is None else c, strict=True))
    carried = np.array([drift.end(*pair) for pair in pairs])
    rest = np.setdiff1d(np.arange(len(a)), again)
    rest = rest if len(rest) else again
    off = 1e3 * np.abs(carried - fine)
    within = 1e3 * np.array([drift.error(row) for row in a])
    cells = [
        f"{fine.sum() / at.sum():.2f}",
        f"{spearmanr(at, fine).statistic:.3f}",
        f"{int(np.flatnonzero(np.argsort(at) == np.argmin(fine))[0]) + 1}",
        f"{1e3 * np.sqrt(np.mean((at - fine) ** 2)):.2f}",
        " and ".join(dict.fromkeys(f"{factor:.2f}" for factor in drift.factors))
        + (f", step {drift.step:.2f}" if drift.step else ""),
        f"{spearmanr(carried, fine).statistic:.3f}",
        f"{fine[rest].sum() / carried[rest].sum():.2f}",
        f"{np.sqrt(np.mean(off[rest] ** 2)):.2f}",
        f"{1e3 * drift.rest:.2f}",
        f"{np.count_nonzero(off[rest] <= within[rest])} of {len(rest)}",
    ]
    return " | ".join(cells), carried


def cost(folder: str, grade: str) -> str:
    """Welds of a grade that lie in the folder, and minutes of processor time they took."""
    records = [json.loads(p.read_text()) for p in (Path(folder) / "branches").glob("*.json")]
    own = [r.get("processor_seconds", r["seconds"]) for r in records if r["grade"] == grade]
    return f"{len(own)} | {sum(own) / 60:.1f}"


def main(argv=None) -> None:
    """Print the tables."""
    from weldsim.studies.plan.executor import open_executor
    from weldsim.studies.plan.outcomes import evaluate
    from weldsim.studies.plan.space import load_plan

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("case")
    parser.add_argument("--out", required=True)
    parser.add_argument("--grades", nargs="+", default=["sketch", "coarse"])
    parser.add_argument("--ends", type=Path, default=KNOWN)
    parser.add_argument("--against")
    parser.add_argument("--count", type=int, default=24)
    parser.add_argument("--few", action="store_true")
    parser.add_argument("--workers", type=int)
    parser.add_argument("--set", action="append", default=[])
    given = parser.parse_args(argv)
    plan = load_plan(given.case, given.set)

    def tell(share, text):
        print(f"{share:4.0%} {text}", flush=True)

    outcomes, minutes = {}, {}
    against, ends = (given.against, {}) if given.against else known_ends(plan, given.ends)
    with open_executor(given.workers) as found:
        for grade in given.grades:
            began = time.perf_counter()
            some = list(ends) if given.few and ends else list(plan.schedules())
            outcomes[grade] = evaluate(plan, 0, some, grade, given.out, found, tell)
            minutes[grade] = (time.perf_counter() - began) / 60
        if not ends:
            chosen = evenly(plan, outcomes[given.grades[0]], given.count)
            fine = evaluate(plan, 0, chosen, against, given.out, found, tell)
            ends = {m: as_known(plan, o, 2) for m, o in fine.items() if not o.error}
    moves = [m for m in ends if not any(outcomes[g][m].error for g in given.grades)]
    b = np.array([ends[m] for m in moves])
    print(f"\n{len(moves)} sequences against grade {against}; ends in 1e-3 of SI\n")
    print(f"| {' | '.join(HEADS)} |\n" + "|---" * len(HEADS) + "|")
    columns, coarser = [], None
    for grade in given.grades:
        a = np.array([as_known(plan, outcomes[grade][m], b.shape[1]) for m in moves])
        cells, carried = compared(plan, a, b, coarser)
        print(f"| {grade} | {cost(given.out, grade)} | {minutes[grade]:.1f} | {cells} |")
        columns += [np.linalg.norm(a, axis=1), carried]
        coarser = a
    heads = [f"{g} | {g}, carried over" for g in given.grades]
    print(f"\n| sequence | {' | '.join(heads)} | {against} |")
    print("|---" * (len(columns) + 2) + "|")
    fine = np.linalg.norm(b, axis=1)
    for i in np.argsort(fine):
        numbers = [f"{1e3 * c[i]:.2f}" for c in (*columns, fine)]
        print(f"| {plan.text(moves[i])} | {' | '.join(numbers)} |")


if __name__ == "__main__":
    main()
