"""Between which values an arc of each process works, so that a slip is asked about.

The bands are wide on purpose: they hold what suppliers' tables print for thin sheet to heavy plate
with room on both sides, for the question "did you mean that?", never for setting a machine.
Currents: suppliers' handbooks and power-source manuals (TIG 50 to 295 A, MIG and MAG 100 to 270 A
for 1.6 to 6 mm). Voltages: static load lines of IEC 60974-1 (10 + 0.04 I for TIG, 14 + 0.05 I for
MIG and MAG, 20 + 0.04 I for electrodes), from memory. Speeds: common practice, from memory.
Efficiencies, measured with calorimeters: TIG 0.36 to 0.90 as published (Stenbacka, Choquet and
Hurtig 2012), wire and electrode 0.84 +- 0.04, plasma 0.47 +- 0.03 (DuPont and Marder, Welding
Journal 74, 1995), submerged arc 0.90 to 0.99 (from memory), with room on both sides.
Thickness: about 40 A for each millimetre up to 5 or 6 mm, as several power-source manuals say.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Band:
    """What an arc of a process burns with, from and to.

    Attributes
    ----------
    current : tuple of float
        [A]
    voltage : tuple of float
        [V]
    speed : tuple of float
        Of travel. [m/s]
    efficiency : tuple of float
        Share of the arc's power that the part takes up.
    """

    current: tuple[float, float]
    voltage: tuple[float, float]
    speed: tuple[float, float]
    efficiency: tuple[float, float]


METAL = (0.5, 0.95)  # of an arc that melts its own electrode
ELECTRODE = Band((25.0, 400.0), (16.0, 40.0), (0.8e-3, 12e-3), METAL)
WIRE = Band((30.0, 500.0), (12.0, 42.0), (1.5e-3, 30e-3), METAL)
BANDS = {
    "111": ELECTRODE, "114": Band((60.0, 500.0), (14.0, 36.0), (1.5e-3, 20e-3), METAL),
    "121": Band((150.0, 1500.0), (20.0, 50.0), (3e-3, 50e-3), (0.7, 1.0)),
    "131": WIRE, "135": WIRE, "136": WIRE, "137": WIRE, "138": WIRE, "139": WIRE,
    "141": Band((5.0, 500.0), (8.0, 25.0), (0.3e-3, 15e-3), (0.3, 0.95)),
    "15": Band((5.0, 500.0), (15.0, 45.0), (0.5e-3, 30e-3), (0.3, 0.9)),
}  # fmt: skip
# share of 40 A a millimetre from and to which a current suits a thickness of up to 6 mm
AMPERES_A_METRE = 40e3
THICK = 6e-3  # m; beyond it current does not follow thickness
SUITS = (0.25, 3.0)
MELTS, COLD = "this would melt the part", "this would not fuse"
NO_ARC = "no arc of this process burns so"
NOT_SO_MUCH = "no arc of this process gives a part so much of its power"


@dataclass(frozen=True)
class Doubt:
    """A value of an arc that is hardly meant.

    Attributes
    ----------
    key : str
        "current", "voltage", "speed" or "efficiency".
    value : float
        [A, V, m/s, 1]
    low, high : float
        What is usual. [A, V, m/s, 1]
    why : str
        What would come of it.
    usual_for : str
        What the usual range is of: "", or a thickness that it goes with.
    """

    key: str
    value: float
    low: float
    high: float
    why: str
    usual_for: str = ""


def doubts(
    process: str,
    current: float,
    voltage: float,
    speed: float,
    thickness: float | None = None,
    efficiency: float | None = None,
) -> list[Doubt]:
    """Values of an arc outside what its process is used with.

    Parameters
    ----------
    process : str
        Number of ISO 4063.
    current, voltage : float
        [A, V]
    speed : float
        Of travel. [m/s]
    thickness : float, optional
        Of the thinnest wall at the weld. [m]
    efficiency : float, optional
        Share of the arc's power that the part takes up.

    Returns
    -------
    list of Doubt
        Empty where nothing is to be asked, or the process has no band.
    """
    band = BANDS.get(process)
    if band is None:
        return []
    out = [
        Doubt(key, value, *usual, below if value < usual[0] else above)
        for key, value, usual, below, above in (
            ("current", current, band.current, COLD, MELTS),
            ("voltage", voltage, band.voltage, NO_ARC, NO_ARC),
            ("speed", speed, band.speed, MELTS, COLD),
            ("efficiency", efficiency, band.efficiency, COLD, NOT_SO_MUCH),
        )
        if value is not None and not usual[0] <= value <= usual[1]
    ]
    if thickness and not any(d.key == "current" for d in out):
        rule = AMPERES_A_METRE * min(thickness, THICK)
        low, high = (share * rule for share in SUITS)
        if not low <= current <= high:
            wall = f" on {1e3 * thickness:.3g} mm"
            out.append(Doubt("current", current, low, high, COLD if current < low else MELTS, wall))
    return out
