"""`weldsim next`: readings after some welds against a study's branches; see `next_weld`."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from weldsim.errors import CaseError
from weldsim.next_weld import SPREADS, Ahead, Estimate, Unknown, chance_inside, estimate
from weldsim.plan import evaluate
from weldsim.plan_space import Plan, Setting, parse_plan
from weldsim.units import parse

STEP = 0.05  # change of an unknown in the run that measures what it moves
READ_OFF = {"mrad": 0.1, "mm": 0.5}  # standard deviation of a reading when none is stated
FAST_ERROR = 0.25  # of a movement still to come, when the study has no error of its own


@dataclass(frozen=True)
class Advice:
    """What is known after a reading, and the ways to go on, best first.

    Attributes
    ----------
    columns : gauge columns that were read
    reading, noise : their values and standard deviations, in their units
    unknowns, estimate : what explains them
    ways : ranked by the chance of ending inside the tolerance, then by how far off
    error_words : what the spread of a prediction rests on
    """

    columns: tuple[str, ...]
    reading: np.ndarray
    noise: np.ndarray
    unknowns: tuple[Unknown, ...]
    estimate: Estimate
    ways: tuple[Ahead, ...]
    error_words: str


def open_study(folder, tolerance: str | None = None) -> tuple[Plan, Path, dict | None]:
    """Plan, folder of branches, and record of a study; of a run folder, a plan of its case.

    Raises
    ------
    CaseError
        If the folder is neither.
    """
    folder = Path(folder)
    if (folder / "plan.json").exists():
        record = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
        plan = parse_plan(record["case"], record["source_file"], record["overrides"])
        return plan, folder, record
    if not (folder / "case.json").exists():
        raise CaseError(f"{folder}: neither a study (plan.json) nor a run folder (case.json)")
    kept = json.loads((folder / "case.json").read_text(encoding="utf-8"))
    text = kept["source"]
    raw = tomllib.loads(text)
    if "plan" not in raw:
        import tomli_w

        pointers = [g["name"] for g in raw.get("gauge", ()) if g.get("kind") == "pointer"]
        if not pointers:
            raise CaseError(f"{folder}: its case has no pointer to read; add a [plan] section")
        if tolerance is None:
            raise CaseError(f'{folder}: its case states no tolerance: add --tolerance "1 mrad"')
        raw["plan"] = {"measure": pointers[0], "tolerance": tolerance}
        text = tomli_w.dumps(raw)
    return parse_plan(text, kept["source_file"], kept["overrides"]), folder / "next", None


def read_moves(plan: Plan, after: str) -> tuple:
    """Moves welded so far, from "front:+x,back:-x"; a bare seam name ends the case's own order."""
    items = [i.strip() for i in after.split(",") if i.strip()]
    own = [(w.seam or w.name, w.travel) for w in plan.case.welds if w.tack < 0]
    if len(items) == 1 and ":" not in items[0]:
        names = list(dict.fromkeys(s for s, _ in own))
        if items[0] not in names:
            raise CaseError(f"--after {after}: no seam of that name, known: {', '.join(names)}")
        own_way = dict(own)
        items = [f"{s}:{own_way[s]}" for s in names[: names.index(items[0]) + 1]]
    moves = []
    for item in items:
        seam, _, word = item.partition(":")
        if seam not in plan.words:
            known = ", ".join(plan.words)
            raise CaseError(f"--after {item}: no seam of that name, known: {known}")
        senses = {v: k for k, v in _all_words(plan, seam).items()} | {
            v: k for k, v in plan.words[seam].items()
        }
        if word.strip() not in senses:
            raise CaseError(f"--after {item}: {word!r} is no travel there: {', '.join(senses)}")
        moves.append((seam, senses[word.strip()]))
    if len({s for s, _ in moves}) < len(moves):
        raise CaseError(f"--after {after}: a seam stands there twice")
    if len(moves) >= len(plan.words):
        raise CaseError(f"--after {after}: nothing is left to weld")
    return tuple(moves)


def _all_words(plan: Plan, seam: str) -> dict:
    line = plan.lines.get(seam)
    return {s: w for w, s in line.ways.items()} if line is not None else plan.words[seam]


def read_readings(plan: Plan, texts) -> tuple[tuple[str, ...], np.ndarray]:
    """Columns and values from "pointer.up=-12mm"; mm or mrad as written."""
    from weldsim.plan_space import columns_of

    known = columns_of(plan.case)
    found: dict[str, float] = {}
    for text in texts:
        name, sign, value = text.partition("=")
        gauge, _, part = name.strip().partition(".")
        stems = {c.rsplit("_", 1)[0] for c in known if c.startswith(f"{gauge}_")}
        stem = f"{gauge}_{part}" if part else next(iter(stems), "")
        if not sign or stem not in stems:
            such = ", ".join(sorted({c.rsplit("_", 1)[0].replace("_", ".", 1) for c in known}))
            raise CaseError(f"--reading {text}: write GAUGE.SIDE=VALUE, sides here: {such}")
        for unit, kind in (("mm", "length"), ("mrad", "angle")):
            try:
                number = 1e3 * parse(value.strip(), kind)
            except ValueError:
                continue
            column = f"{stem}_{unit}"
            if column in found:
                raise CaseError(f"--reading {text}: read twice")
            if column not in known:
                raise CaseError(f"--reading {text}: this gauge is not read in {unit}")
            found[column] = number
            break
        else:
            raise CaseError(f'--reading {text}: value with its unit, such as "-12 mm" or "2 mrad"')
    if not found:
        raise CaseError("--reading: missing, such as --reading pointer.up=-12mm")
    return tuple(found), np.array(list(found.values()))


def unknowns_of(plan: Plan) -> tuple[Unknown, ...]:
    """What a shop does not know about this case."""
    keys = {"efficiency": "arc.efficiency", "speed": "arc.speed"}
    out = [Unknown(n, keys[n], *SPREADS[n]) for n in keys]
    if plan.case.part.kind == "bar":
        return ()
    if getattr(plan.case.part, "root_gap", 0.0) > 0:
        out.append(Unknown("root gap", "part.root_gap", 0.3, 0.0, 3.0))
    for clamp in plan.case.clamps:
        if clamp.kind == "spring":
            key = f"clamp.{clamp.name}.stiffness"
            out.append(Unknown(f"stiffness of {clamp.name}", key, 0.5, 0.1, 5.0))
    return tuple(out)


def _changed(plan: Plan, unknown: Unknown, factor: float) -> str:
    """The change of the case that multiplies an unknown."""
    section, *_, key = unknown.key.split(".")
    case = plan.case
    if section == "arc":
        value = factor * getattr(case.welds[0], key)
        return f"{unknown.key}={value:.6g}" + (" m/s" if key == "speed" else "")
    if section == "part":
        return f"{unknown.key}={factor * case.part.root_gap:.6g} m"
    clamp = next(c for c in case.clamps if c.name == unknown.key.split(".")[1])
    return f"{unknown.key}={factor * clamp.stiffness:.6g} N/m"


def advise(
    plan: Plan, folder, done, columns, reading, found, noise=None, error=None, progress=None
) -> Advice:
    """Explain a reading and rank the ways to go on.

    Parameters
    ----------
    plan : Plan
    folder : path
        Of the study; branches that are missing are computed and kept there.
    done : row of moves welded so far
    columns, reading : what was read, in the columns' units
    found : crew
    noise : float, optional
        Standard deviation of each reading in its unit; `READ_OFF` when left out.
    error : float, optional
        Stated error of the study's ranking [SI]; a quarter of the movement to come when left out.

    Returns
    -------
    Advice
    """
    progress = progress or (lambda share, text: None)
    grade = plan.section.grade
    unknowns = unknowns_of(plan)

    def now(p, setting, moves, share):
        out = evaluate(p, setting, [moves], grade, folder, found,
                       lambda s, t: progress(share[0] + share[1] * s, t))[moves]  # fmt: skip
        if out.error:
            raise CaseError(f"{plan.case.source_file}: {plan.text(moves)}: {out.error}")
        return out.columns

    base = now(plan, 0, done, (0.0, 0.1))
    expected = np.array([base[c] for c in columns])
    noise = np.array([noise or READ_OFF[c.rsplit("_", 1)[1]] for c in columns])
    # the model's own error of what lies behind counts as much as the eye's
    model_error = FAST_ERROR * np.abs(expected) if error is None else np.full(
        len(columns), 1e3 * error * _throw(plan, columns[0]))  # fmt: skip
    slopes = np.zeros((len(columns), len(unknowns)))
    for k, unknown in enumerate(unknowns):
        step = STEP
        if unknown.name == "efficiency" and plan.case.welds[0].efficiency * (1 + STEP) > 1:
            step = -STEP
        other = replace(plan, settings=(
            Setting((*plan.settings[0].changes, _changed(plan, unknown, 1 + step))),))  # fmt: skip
        moved = now(_as_text(other), 0, done, (0.1 + 0.4 * k / len(unknowns), 0.4 / len(unknowns)))
        slopes[:, k] = (np.array([moved[c] for c in columns]) - expected) / step
    total = np.hypot(noise, model_error)
    known = estimate(reading, expected, slopes, unknowns, total)
    left = [m for m in plan.schedules() if m[: len(done)] == tuple(done)]
    ways, count = [], len(plan.settings)
    for n in range(count):
        behind = base if n == 0 else now(plan, n, done, (0.5 + 0.5 * n / count, 0.1 / count))
        ends = evaluate(plan, n, left, grade, folder, found,
                        lambda s, t, n=n: progress(0.5 + 0.5 * (n + s) / count, t))  # fmt: skip
        ways += [
            _ahead(plan, n, moves[len(done) :], outcome, behind, columns, reading, noise, slopes,
                   expected, known, error)
            for moves, outcome in ends.items() if not outcome.error
        ]  # fmt: skip
    if not ways:
        raise CaseError(f"{plan.case.source_file}: no order that goes on from there is allowed")
    ways.sort(key=lambda a: (-round(a.chance, 3), a.off, a.setting, a.moves))
    words = (
        "spread of a prediction: reading, unknowns, and the study's stated error"
        if error is not None
        else f"spread of a prediction: reading, unknowns, and {FAST_ERROR:.0%} of the movement to "
        "come, a guess: no finer run has been compared"
    )
    if len(plan.settings) > 1:
        words += f"; what lies behind was welded with {plan.settings[0].label}"
    return Advice(columns, np.asarray(reading), noise, unknowns, known, tuple(ways), words)


def _as_text(plan: Plan) -> Plan:
    """A plan whose one setting has gone over into its case, so that workers can read it."""
    changes = plan.settings[0].changes
    overrides = (*(c for c in plan.case.overrides), *changes)
    section = plan.section.model_copy(update={"vary": {}})
    case = replace(plan.case, overrides=overrides)
    return replace(plan, case=case, section=section, settings=(Setting(()),))


def _throw(plan: Plan, column: str) -> float:
    """Reading per radian of the measure, for a column in mm of a pointer; else 1."""
    if not column.endswith("_mm") or plan.tolerance.measure != "angle":
        return 1.0
    gauge = next(g for g in plan.case.gauges if column.startswith(f"{g.name}_"))
    return gauge.throw or 1.0


def _ahead(
    plan, setting, moves, outcome, base, columns, reading, noise, slopes, expected, known, error
) -> Ahead:
    """One way to go on: the reading, plus what is still to come as the unknowns scale it.

    `base` is what the model reads after the moves done, under the setting of this way: so a pause
    or a current may change now, and counts for what is still to come.
    """
    scale = np.array([1e-3 / _throw(plan, c) for c in columns])  # to SI of the measure
    ahead = np.array([outcome.columns[c] - base[c] for c in columns])
    size = max(float(np.linalg.norm(expected)), 1e-9)
    relative = slopes.T @ expected / size**2  # movement per factor, as the past showed it
    mean = (np.asarray(reading) + ahead * (1 + relative @ (known.factors - 1))) * scale
    move = np.outer(ahead, relative)
    own = FAST_ERROR * np.abs(ahead) * scale if error is None else np.full(len(ahead), error)
    covariance = (
        np.diag((noise * scale) ** 2 + own**2)
        + (move @ known.covariance @ move.T) * np.outer(scale, scale)
    )  # fmt: skip
    chance = chance_inside(mean, covariance, plan.tolerance.value)
    return Ahead(tuple(moves), mean, covariance, chance, setting)


def advice_lines(plan: Plan, advice: Advice, most: int = 5) -> list[str]:
    """The advice in words, one line each."""
    found = advice.estimate
    lines = []
    for column, value, was in zip(advice.columns, advice.reading, found.expected, strict=True):
        stem, unit = column.rsplit("_", 1)
        lines.append(f"{stem.replace('_', ' ')}: read {value:.3g} {unit}, expected {was:.3g}")
    if found.contradictory:
        lines.append(
            f"the readings lie {found.misfit:.1f} standard deviations from anything the unknowns "
            "explain: read again, check that order and travel are those given, and trust nothing "
            "below until they agree"
        )
    for unknown, factor, spread in zip(advice.unknowns, found.factors, found.spread, strict=True):
        note = " (at its bound)" if unknown.name in found.at_bound else ""
        lines.append(f"{unknown.name}: {factor:.3f} +- {spread:.3f} times what the case says{note}")
    scale, unit = (1e3, "mrad") if plan.tolerance.measure == "angle" else (1e3, "mm")
    for n, way in enumerate(advice.ways[:most], 1):
        under = f" ({plan.settings[way.setting].label})" if len(plan.settings) > 1 else ""
        lines.append(
            f"{n}. {plan.text(way.moves)}{under}: expected {scale * way.off:.2g} {unit} off, "
            f"{_chance(way.chance)} chance of {plan.tolerance}"
        )
    lines.append(advice.error_words)
    return lines


def _chance(value: float) -> str:
    """A chance in per cent; nothing is certain."""
    if value > 0.99:
        return "over 99 %"
    return "under 1 %" if value < 0.01 else f"{100 * value:.0f} %"


def study_error(record: dict | None) -> float | None:
    """Stated error of a study's unconfirmed rows. [SI]"""
    if not record:
        return None
    rows = [r["error"] for r in record["rows"] if r["confirmed"] is None and r["error"] is not None]
    return 1e-3 * rows[0] if rows and record["unit"] in ("mrad", "mm", "mm/m") else None


__all__ = [
    "Advice", "advice_lines", "advise", "open_study", "read_moves", "read_readings",
    "study_error", "unknowns_of",
]  # fmt: skip
