"""A block of forty beads that others laid, measured and released (`cases/measured/n1`).

    python benchmarks/deposit_block.py --fit        # two numbers to four couples, 300 s alone
    python benchmarks/deposit_block.py --fit --toes # three: the toes have a contact of their own
    python benchmarks/deposit_block.py --curves EFFICIENCY CONDUCTANCE    # the first 150 s
    python benchmarks/deposit_block.py --layers EFFICIENCY TABLE --toes TOES    # ends of layers
    python benchmarks/deposit_block.py --balance           # what the log says by itself, no model
    python benchmarks/deposit_block.py --at-once 0 1 10    # a layer bead by bead, and at once
    python benchmarks/deposit_block.py --block EFFICIENCY CONDUCTANCE --once 10    # bow, lumped
    python benchmarks/deposit_block.py --bow DIR    # a finished run of the case against 25 points
    python benchmarks/deposit_block.py --rows DIR   # bow and stress as `weldsim validate` has them

Efficiency and the conductance of table and toes are fitted to TC2 to TC5 over the first 300 s, bead
by bead; all else is predicted with them. Nothing is tuned to a later reading. Prints Markdown.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from weldsim.case.load import Case, load_case, parse_case
from weldsim.runs.result import read_result
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import simulate
from weldsim.validation.measured_block import rows_of
from weldsim.validation.measured_readings import (
    COUPLES,
    FAR,
    FIRST_BEADS,
    N1,
    couples_heated,
    heights_of,
    levelled,
    logged,
    measured_heights,
    rises,
    sag,
)

FITTED_TO, FITTED_UNTIL = ("TC2", "TC3", "TC4", "TC5"), 300.0


def n1_case(efficiency: float, conductance: float, **changes: object) -> Case:
    """The case with the numbers that are fitted; toes conduct as the table unless changed."""
    keys: dict[str, object] = {
        "arc.efficiency": efficiency, "clamp.table.conductance": conductance,
        "clamp.toes.conductance": conductance,
    }  # fmt: skip
    return load_case(N1 / "deposit.toml", keys | changes)


def fit(toes: bool) -> tuple[float, float, float, float]:
    """Efficiency, conductance of table and of toes [W/(m2 K)], and the miss left in the mean. [K]

    Rises go with the efficiency but for what the curves of the metal do, so each run is scaled to
    its own best efficiency; conductances are searched for, and what was found is run once more.
    Without `toes` these conduct as the table does.
    """
    log = logged()
    use = (log["time"] > 0) & (log["time"] <= FITTED_UNTIL)
    at = log["time"][use]
    wanted = np.concatenate([log[c][use] - log[c][log["time"] < 0].mean() for c in FITTED_TO])
    with TemporaryDirectory() as folder:  # the first layer alone: it is laid in 743 s
        rows = (N1 / "beads.csv").read_text(encoding="utf-8").splitlines()[:11]
        path = Path(folder) / "beads.csv"
        path.write_text("\n".join(rows) + "\n", encoding="utf-8")
        alone = {"part.at_once": 0, "part.path": str(path)}
        return _fitted(alone, wanted, at, toes)


def _fitted(
    alone: dict[str, object], wanted: np.ndarray, at: np.ndarray, toes: bool
) -> tuple[float, float, float, float]:
    """What `fit` says, of a case with some changes."""
    from scipy.optimize import least_squares

    efficiency = 0.7
    best: dict[tuple[float, ...], float] = {}
    base = build_model(n1_case(efficiency, 500.0, **alone), FAR)

    def curves(x: np.ndarray) -> np.ndarray:
        table, toe = np.exp(x[0]), np.exp(x[-1])
        more = alone | {"clamp.toes.conductance": float(toe)}
        model = base.for_case(n1_case(efficiency, float(table), **more))
        found = couples_heated(model, FITTED_UNTIL)
        rows = [np.interp(at, found["time"], found[c]) - found[c][0] for c in FITTED_TO]
        return np.concatenate(rows)

    def miss(x: np.ndarray) -> np.ndarray:
        rise = curves(x)
        share = float(rise @ wanted / (rise @ rise))
        off = share * rise - wanted
        print(
            f"<!-- table {np.exp(x[0]):.0f}, toes {np.exp(x[-1]):.0f} W/(m2 K): efficiency "
            f"{share * efficiency:.3f}, {np.sqrt(np.mean(off**2)):.2f} K -->", flush=True,
        )  # fmt: skip
        best[tuple(x)] = share * efficiency
        return off

    start = np.log([50.0, 4000.0] if toes else [300.0])
    found = least_squares(
        miss, start, bounds=(np.log(5.0), np.log(50000.0)), diff_step=0.05, max_nfev=4, xtol=1e-2,
        ftol=1e-2,
    )  # fmt: skip
    efficiency = best[tuple(found.x)]
    off = np.sqrt(np.mean((curves(found.x) - wanted) ** 2))
    return efficiency, float(np.exp(found.x[0])), float(np.exp(found.x[-1])), float(off)


def build_heated(
    efficiency: float, conductance: float, toes: float, at_once: int = 0
) -> dict[str, np.ndarray]:
    """Couples over the whole time of the log, predicted. [s, K]"""
    more = {"part.at_once": at_once, "clamp.toes.conductance": toes or conductance}
    model = build_model(n1_case(efficiency, conductance, **more), FAR)
    return couples_heated(model, ARC_OFF[-1][1])


# -- heat balance by the couples alone -----------------------------------------------------------

ARC_ON = ((0.0, 743.0), (864.0, 1607.0), (1709.0, 2453.0), (2615.0, 3359.0))  # s, from the log
ARC_OFF = ((743.0, 863.0), (1607.0, 1708.0), (2453.0, 2614.0), (3359.0, 3541.0))
SETTLED = 40.0  # s, our choice: after an arc the middle of the bar evens out with its edges
BAR, LAYER = 0.6 * 0.1016 * 0.0127, 0.5 * 0.045 * 0.0025  # m3
DENSITY, POWER, UNDERSIDE = 7850.0, 2599.0, 0.6 * 0.1016  # kg/m3, W (log), m2


def heat_balance(found: dict[str, np.ndarray]) -> list[tuple[int, float, float, float, float]]:
    """What couples say without a model: conductance from waits, then the power that edges show.

    Bar and block are taken for one body at the mean of the edges, couples of both sides joined
    along the bar by straight lines; its heat capacity is that of EN 1993-1-2, 3.4.1.2. While an arc
    burns the middle is hotter than that, so the power is the least that it can have been.

    Of the log, or of couples that were predicted, which are looked at through the same eyes. Gives
    (layer, W/K to the table, least efficiency, rise of the body and of the table [K]).
    """
    log, time = logged(), found["time"]
    read = {k: found[f"TC{k}"] - 273.15 for k in range(1, 11)}
    read[11] = np.interp(time, log["time"], log["TC11"]) - 273.15
    sides = [(6, 6), (5, 7), (4, 8), (3, 9), (2, 10), (1, 1)]  # at these places along the bar
    along = np.array([0.5 * (read[a] + read[b]) for a, b in sides])
    body = np.trapezoid(along, [-0.3, -0.18, -0.06, 0.06, 0.18, 0.3], axis=0) / 0.6
    over = body - read[11]
    start = float(body[time <= 0].mean()), float(read[11][time <= 0].mean())
    out = []
    for layer, (on, off) in enumerate(zip(ARC_ON, ARC_OFF, strict=True), 1):
        rise = {s: float(np.interp(s, time, body)) for s in (*on, off[0] + SETTLED, off[1])}
        hot = rise[off[1]]
        specific = 425.0 + 0.773 * hot - 1.69e-3 * hot**2 + 2.22e-6 * hot**3
        capacity = DENSITY * (BAR + layer * LAYER) * specific
        waits = (time >= off[0] + SETTLED) & (time <= off[1])
        cooled = capacity * (rise[off[0] + SETTLED] - hot) / (off[1] - off[0] - SETTLED)
        conductance = cooled / over[waits].mean()
        burns = (time >= on[0]) & (time <= on[1])
        power = capacity * (rise[on[1]] - rise[on[0]]) / (on[1] - on[0])
        power += conductance * over[burns].mean()
        table = float(np.interp(on[1], time, read[11])) - start[1]
        out.append((layer, conductance, power / POWER, rise[on[1]] - start[0], table))
    return out


# -- bow after release --------------------------------------------------------------------------


def block(case: Case, grade: str) -> tuple[np.ndarray, int, float]:
    """Heights at the end of a run of the case [m], its steps, and its gap in the heat balance."""
    model = build_model(case, grade)
    steps = 0
    for step in simulate(model):
        steps += 1
        if steps % 20 == 0:
            print(f"<!-- {steps} steps, {step.time:.0f} s -->", flush=True)
    found = {c.gauge: v for c, v in step.gauges.items()}
    now = np.array([found[f"H{1e3 * v:.0f}"] for v in measured_heights()[0]])
    return now, steps, step.state.energy_balance.gap


def bow_table(now: np.ndarray) -> list[tuple[str, float, float]]:
    """(what, measured, predicted): sags over four spans. [m]"""
    x, was = measured_heights()
    spans = (0.3, 0.4, 0.5, 0.6)
    return [(f"sag over {1e3 * s:.0f} mm", sag(x, was, s), sag(x, now, s)) for s in spans]


def off_the_points(now: np.ndarray) -> float:
    """Root mean square of predicted less measured heights, shift and turn removed. [m]"""
    return float(np.std(levelled(now) - levelled(measured_heights()[1])))


# -- one layer, bead by bead and at once --------------------------------------------------------

SHORT = """
[[gauge]]
name = "edge"
kind = "thermocouple"
at = ["70 mm", "50.8 mm", "-6.35 mm"]

[[gauge]]
name = "bow"
kind = "bow"
direction = "+z"
"""


def one_layer(at_once: int, folder: Path, grade: str) -> tuple[float, float, int]:
    """A layer of ten beads 70 mm long on 140 mm of the bar.

    Gives the bow after release [m], the rise of an edge at the end of the layer [K] and the steps.
    """
    rows = (N1 / "beads.csv").read_text(encoding="utf-8").splitlines()[:11]
    short = [row.replace(",50,", ",35,").replace(",550,", ",105,") for row in rows]
    (folder / "beads.csv").write_text("\n".join(short) + "\n", encoding="utf-8")
    text = (N1 / "deposit.toml").read_text(encoding="utf-8").split("\n[[gauge]]")[0] + SHORT
    case = parse_case(
        text, str(folder / "deposit.toml"),
        {
            "part.length": "140 mm", "part.side_toes": ["25 mm", "70 mm", "115 mm"],
            "part.at_once": at_once, "solve.grade": grade,
        },
    )  # fmt: skip
    model = build_model(case)
    laid = 10 * 0.07 / case.welds[0].arc.speed + 9 * 0.665
    times, edge, bow, steps = [], [], 0.0, 0
    for step in simulate(model):
        found = {c.gauge: v for c, v in step.gauges.items()}
        times.append(step.time)
        edge.append(found["edge"] - case.surroundings.preheat)
        bow, steps = found["bow"], steps + 1
    return bow, float(np.interp(laid, times, edge)), steps


def show_balance(found: dict[str, np.ndarray]) -> None:
    """The table of `heat_balance`."""
    print(
        "| layer | W/K | over the underside, W/(m2 K) | efficiency, at least "
        "| rise of the bar, K | of the table, K |\n|---|---|---|---|---|---|"
    )
    for layer, conductance, least, rise, table in heat_balance(found):
        print(f"| {layer} | {conductance:.1f} | {conductance / UNDERSIDE:.0f} | {least:.2f} "
              f"| {rise:.0f} | {table:.0f} |")  # fmt: skip


def show_rows(folder: Path) -> None:
    """Bow and stress of a finished run of the case, their pictures beside it."""
    for found in rows_of(read_result(folder)):
        print(f"\n{found.title}. {found.note}\n")
        print("| | expected | allowed | computed | |\n|---|---|---|---|---|")
        for c in found.comparisons:
            wanted = "" if c.expected is None else f"{c.expected:.3g}"
            print(f"| {c.quantity} | {wanted} | {c.low:.3g} to {c.high:.3g} {c.unit} "
                  f"| {c.computed:.3g} | {'holds' if c.holds else 'fails'} |")  # fmt: skip
        Path(f"{folder}-{found.part}.svg").write_text(found.picture, encoding="utf-8")


def main() -> None:
    """What is asked for on the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--toes", type=float, nargs="?", const=0.0, metavar="CONDUCTANCE")
    parser.add_argument("--curves", nargs=2, type=float, metavar=("EFFICIENCY", "CONDUCTANCE"))
    parser.add_argument("--layers", nargs=2, type=float, metavar=("EFFICIENCY", "CONDUCTANCE"))
    parser.add_argument("--once", type=int, default=0)
    parser.add_argument("--balance", action="store_true")
    parser.add_argument("--at-once", nargs="+", type=int)
    parser.add_argument("--grade", default="sketch")
    parser.add_argument("--block", nargs=2, type=float, metavar=("EFFICIENCY", "CONDUCTANCE"))
    parser.add_argument("--no-sliding", action="store_true")
    parser.add_argument("--bow", type=Path, metavar="DIR")
    parser.add_argument("--rows", type=Path, metavar="DIR")
    asked = parser.parse_args()
    if asked.fit:
        said = "efficiency {:.3f}, table {:.0f}, toes {:.0f} W/(m2 K), miss {:.1f} K"
        print(said.format(*fit(asked.toes is not None)))
    if asked.curves:
        efficiency, conductance = asked.curves
        more = {"part.at_once": 0, "clamp.toes.conductance": asked.toes or conductance}
        found = couples_heated(
            build_model(n1_case(efficiency, conductance, **more), FAR), FIRST_BEADS
        )
        log, at = logged(), np.arange(10.0, 151.0, 20.0)
        print("| couple | highest to 150 s, measured and computed, K | at 10, 30 ... 150 s, K |")
        for c in COUPLES:
            was = np.interp(at, log["time"], log[c]) - log[c][log["time"] < 0].mean()
            now = np.interp(at, found["time"], found[c]) - found[c][0]
            pairs = (f"{a:.0f}/{b:.0f}" for a, b in zip(was, now, strict=True))
            until = log["time"] <= FIRST_BEADS
            tops = f"{np.ptp(log[c][until]):.0f}, {np.ptp(found[c]):.0f}"
            print(f"| {c} | {tops} | {', '.join(pairs)} |")
    if asked.layers:
        found = build_heated(*asked.layers, asked.toes or 0.0, asked.once)
        print("| couple | s | measured rise, K | predicted, K | off |\n|---|---|---|---|---|")
        for c, at, was, now in rises(found):
            print(f"| {c} | {at:.0f} | {was:.0f} | {now:.0f} | {now / was - 1:+.1%} |")
        show_balance(found)
    if asked.balance:
        show_balance(logged())
    if asked.at_once:
        print("| beads at once | bow, mm | rise of the edge, K | steps |\n|---|---|---|---|")
        for number in asked.at_once:
            with TemporaryDirectory() as folder:
                bow, rise, steps = one_layer(number, Path(folder), asked.grade)
            print(f"| {number} | {1e3 * bow:.3f} | {rise:.1f} | {steps} |", flush=True)
    if asked.block:
        efficiency, conductance = asked.block
        more = {
            "part.at_once": asked.once, "clamp.toes.conductance": asked.toes or conductance,
            "clamp.toes.slides": not asked.no_sliding,
        }  # fmt: skip
        now, steps, gap = block(n1_case(efficiency, conductance, **more), asked.grade)
        print(f"{steps} steps, heat balance open by {gap:.1e}")
    if asked.bow:
        now = heights_of(read_result(asked.bow))
    if asked.bow or asked.block:
        print("| | measured, mm | predicted, mm | off |\n|---|---|---|---|")
        for what, was, ours in bow_table(now):
            print(f"| {what} | {1e3 * was:.2f} | {1e3 * ours:.2f} | {ours / was - 1:+.0%} |")
        print(f"\n25 points, shift and turn removed: {1e3 * off_the_points(now):.2f} mm off")
    if asked.rows:
        show_rows(asked.rows)


if __name__ == "__main__":
    main()
