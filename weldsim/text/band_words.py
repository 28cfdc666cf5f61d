"""A band in words: intervals, what explains them, how well they are known."""

from __future__ import annotations

from weldsim.schema.column import Column
from weldsim.studies.band.records import GRADE, Band, Reading
from weldsim.studies.spreads import spread_of
from weldsim.text.quantities import Quantity, Words, as_written, difference, words
from weldsim.text.words import rounded_quantity

NAMED = 4  # causes that are named in a line
MUCH = 0.4  # share of the spread from which the grade is said to be too coarse
SMALL = 0.02  # share below which a cause is not named
MOMENTS = {"hot": "as the last arc goes out", "cold": "cold"}


def interval_words(reading: Reading) -> Words:
    """One gauge at one moment: what is expected, and between what nine of ten parts end.

    Parameters
    ----------
    reading : Reading
        Of a band.

    Returns
    -------
    Words
        Without a full stop.
    """
    c = reading.column
    when = "at its hottest" if c.unit == "degC" and reading.moment == "hot" else (
        MOMENTS[reading.moment]
    )  # fmt: skip
    return words(
        "{} {}, {}: {} as the case says; nine of ten parts between {} and {}",
        c.gauge, c.component, when, said(reading, reading.value),
        said(reading, reading.low, named=False), said(reading, reading.high),
    )  # fmt: skip


def said(reading: Reading, value: float, named: bool = True) -> Quantity:
    """A value of a gauge, rounded to a tenth of what its interval is wide.

    Parameters
    ----------
    reading : Reading
        Whose it is.
    value : float
        [SI]
    named : bool
        Whether the unit is written.

    Returns
    -------
    Quantity
        In the unit of its column.
    """
    c = reading.column
    width = c.factor * (reading.high - reading.low)
    signed = c.unit != "degC"
    return rounded_quantity(c.to_display(value), 0.2 * width or None, c.unit, signed, named)


def causes(reading: Reading) -> list[tuple[str, float]]:
    """Causes of a scatter and their shares, the largest first; what belongs to several welds is
    added up.

    Parameters
    ----------
    reading : Reading
        Of a band.

    Returns
    -------
    list of (str, float)
        With what only several causes together explain.
    """
    sums: dict[str, float] = {}
    for name, share in reading.first.items():
        whole = name.split(" of ")[0] if name.startswith("travel speed of ") else name
        sums[whole] = sums.get(whole, 0.0) + max(share, 0.0)
    together = 1.0 - sum(sums.values())
    if together > SMALL:
        sums["several of them together"] = together
    return sorted(sums.items(), key=lambda item: -item[1])


def shares_words(reading: Reading) -> str:
    """What explains a scatter.

    Parameters
    ----------
    reading : Reading
        Of a band.

    Returns
    -------
    str
        The few that matter.
    """
    named = [(n, s) for n, s in causes(reading)[:NAMED] if s > SMALL]
    if not named or reading.high == reading.low:
        return "it does not scatter"
    first, *rest = [f"{n} explains {100 * s:.0f} %" for n, s in named]
    text = f"{first} of the spread"
    return ", ".join([text, *(t.replace(" explains", "") for t in rest)])


def shown(band: Band) -> list[Reading]:
    """Readings that are put in words: movements cold and hot, a temperature at its hottest.

    Parameters
    ----------
    band : Band
        Any.

    Returns
    -------
    list of Reading
        Of a pointer mm at the target and no mrad, which say the same.
    """
    mm = {(c.gauge, c.component) for c in band.columns if c.unit == "mm"}

    def twice(c: Column) -> bool:
        return c.unit == "mrad" and (c.gauge, c.component) in mm

    return [
        r for r in band.readings
        if not twice(r.column) and not (r.column.unit == "degC" and r.moment == "cold")
    ]  # fmt: skip


def sure_words(band: Band) -> list[str]:
    """Sample size and convergence.

    Parameters
    ----------
    band : Band
        Any.

    Returns
    -------
    list of str
        One a line.
    """
    s = band.settings
    finer = (
        f"one more at grade {s.finer}, whose step is added and counts as the estimated error"
        if s.finer != "none"
        else "no finer one: the estimated error of the grade is not in the band"
    )
    out = [
        f"from {band.runs} runs at grade {s.grade} and {finer}; {s.draws} draws from a surrogate "
        f"of the runs"
    ]
    worst = max(shown(band), key=lambda r: r.changed)
    out.append(
        f"check: leaving out a third of the runs moves an end of an interval by at most "
        f"{100 * worst.changed:.0f} % of its width ({worst.column.gauge} "
        f"{worst.column.component}, {worst.moment}), half of the draws by "
        f"{100 * band.half_sample:.0f} %: "
        + ("enough runs" if worst.settled else f"more runs would move it, take {2 * s.runs}")
    )
    cold = [r for r in shown(band) if r.moment == "cold"]
    if any(r.first[GRADE] > MUCH for r in cold):
        out.append(f"much of the spread is the estimated error of grade {s.grade}: a finer one "
                   "narrows it")  # fmt: skip
    if band.failed:
        out.append(f"{len(band.failed)} runs failed: {next(iter(band.failed.values()))}")
    return out


def source_lines(band: Band) -> list[Words]:
    """What was let scatter, by how much, and where that is from.

    Parameters
    ----------
    band : Band
        Any.

    Returns
    -------
    list of Words
        One a value.
    """
    out = []
    for u, name in zip(band.uncertain.values, band.uncertain.words, strict=True):
        if u.spread is None:
            file = band.uncertain.posterior.file if band.uncertain.posterior else ""
            out.append(Words(f"{name}: as the fit in {file} left it"))
            continue
        known = spread_of(u.key)
        if known is not None and known.difference:
            size = Words(difference(u.spread))
        elif u.usual == 0:
            size = words("{}, from 0 on", rounded_quantity(1e3 * u.spread, 0.1, "mm", False))
        else:
            size = Words(f"{100 * u.spread / abs(u.usual):.0f} %")
        out.append(words("{}: standard deviation {} ({})", name, size, as_written(u.source)))
    return out


def band_lines(band: Band) -> list[Words]:
    """All of a band in words.

    Parameters
    ----------
    band : Band
        Any.

    Returns
    -------
    list of Words
        One a line.
    """
    out: list[Words] = []
    for r in shown(band):
        out.append(words("{}; {}", interval_words(r), shares_words(r)))
    out += map(Words, sure_words(band))
    out.append(Words("not in the band: what the model leaves out, and values that are not listed"))
    return out
