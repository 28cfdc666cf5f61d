"""How good is the fast ranking of schedules? Grade against finer grade on schedules spread over it.

    python benchmarks/ranking.py cases/mast_stub_plan.toml --out study --against coarse --count 24

Prints Markdown: rank correlation (Spearman, scipy), whether the finer grade's best is among the
fast grade's best five, and the differences. Branches in the study folder are used and added to, so
it can be stopped and goes on.
"""

from __future__ import annotations

import argparse

import numpy as np


def spread(schedules, outcomes, count: int) -> list:
    """Schedules evenly spaced in their fast rank, one of each group of images."""
    ranked = sorted(schedules, key=lambda m: (outcomes[m].final, m))
    seen, distinct = set(), []
    for moves in ranked:
        key = round(outcomes[moves].final, 12)
        if key not in seen:  # images of one schedule tie to rounding
            seen.add(key)
            distinct.append(moves)
    at = np.unique(np.linspace(0, len(distinct) - 1, min(count, len(distinct))).round().astype(int))
    return [distinct[i] for i in at]


def report(plan, chosen, fast, fine, against: str) -> list[str]:
    """Markdown lines of the comparison; the measure in mrad or mm."""
    from scipy.stats import spearmanr

    a = 1e3 * np.array([fast[m].final for m in chosen])
    b = 1e3 * np.array([fine[m].final for m in chosen])
    out = [f"| schedule | {plan.section.grade} | {against} |", "|---|---|---|"]
    order = np.argsort(a)
    out += [f"| {plan.text(chosen[i])} | {a[i]:.2f} | {b[i]:.2f} |" for i in order]
    best = int(np.argmin(b))
    place = int(np.flatnonzero(order == best)[0]) + 1
    out += [
        "",
        f"{len(chosen)} schedules: rank correlation {spearmanr(a, b).statistic:.2f}; the finer "
        f"grade's best is number {place} of the fast ranking of these; difference "
        f"{np.sqrt(np.mean((a - b) ** 2)):.2f} (root mean square), {np.abs(a - b).max():.2f} "
        f"(largest), of end values from {b.min():.2f} to {b.max():.2f}",
    ]
    return out


def main(argv=None) -> None:
    from weldsim.studies.plan.executor import open_executor
    from weldsim.studies.plan.outcomes import evaluate
    from weldsim.studies.plan.space import load_plan

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("case")
    parser.add_argument("--out", required=True)
    parser.add_argument("--against", default="quick")
    parser.add_argument("--count", type=int, default=24)
    parser.add_argument("--workers", type=int)
    parser.add_argument("--set", action="append", default=[])
    given = parser.parse_args(argv)
    plan = load_plan(given.case, given.set)

    def tell(share, text):
        print(f"{share:4.0%} {text}", flush=True)

    with open_executor(given.workers) as found:
        schedules = list(plan.schedules())
        fast = evaluate(plan, 0, schedules, plan.section.grade, given.out, found, tell)
        chosen = spread([m for m in schedules if not fast[m].error], fast, given.count)
        fine = evaluate(plan, 0, chosen, given.against, given.out, found, tell)
    chosen = [m for m in chosen if not fine[m].error]
    print("\n".join(report(plan, chosen, fast, fine, given.against)))


if __name__ == "__main__":
    main()
