"""The table of knocks, as long as one likes: `python -m tests.knocks --count 20000 --seed 1`.

Prints one row a kind of attack and, where something broke, where and by what. Exit 1 then. The
tests of this folder run the same with a few hundred each.
"""

from __future__ import annotations

import argparse
import sys
import time

from tests.knocks import (
    case_files,
    kills,
    materials,
    plan_kills,
    run_folders,
    study_records,
)

KINDS = {
    # what is attacked -> how, and its share of the count
    "case-files": (case_files.knock, 1.0),
    "materials": (materials.knock, 0.2),
    "run-folders": (run_folders.knock, 0.2),
    "study-records": (study_records.knock, 0.1),
    "kills": (kills.knock, 0.002),
    "plan-kills": (plan_kills.knock, 0.0006),
}


def main() -> int:
    """Run the attacks asked for and print the table."""
    options = argparse.ArgumentParser(prog="python -m tests.knocks", description=__doc__)
    options.add_argument("--count", type=int, default=2000, help="case files; the others fewer")
    options.add_argument("--seed", type=int, default=1, help="other seeds, other attacks")
    options.add_argument("--only", choices=KINDS, action="append", help="repeat for several")
    asked = options.parse_args()
    print("| attacked | tried | refused in words | accepted | broke |\n|---|---|---|---|---|")
    tallies = []
    for name in asked.only or KINDS:
        knock, share = KINDS[name]
        began = time.process_time()
        tallies.append(knock(max(1, round(share * asked.count)), asked.seed))
        print(tallies[-1].row(), flush=True)
        print(f"{time.process_time() - began:.0f} s of processor time", file=sys.stderr)
    for tally in tallies:
        if tally.broke:
            print(f"\n{tally.name}\n{tally.report()}")
    return int(any(t.broke for t in tallies))


if __name__ == "__main__":
    sys.exit(main())
