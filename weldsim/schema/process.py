"""Welding processes by their ISO 4063 number, with the heat input factor of EN 1011-1."""

from __future__ import annotations

# ISO 4063 number -> (name, thermal efficiency factor k of EN 1011-1:2009 table 1). The factor is
# bookkeeping for procedures; what a part really takes up is the `efficiency` of the case.
PROCESSES = {
    "111": ("covered electrode", 0.8),
    "114": ("self-shielded cored wire", 0.8),
    "121": ("submerged arc, wire", 1.0),
    "131": ("MIG", 0.8),
    "135": ("MAG", 0.8),
    "136": ("cored wire with active gas", 0.8),
    "137": ("cored wire with inert gas", 0.8),
    "138": ("metal-cored wire with active gas", 0.8),
    "139": ("metal-cored wire with inert gas", 0.8),
    "141": ("TIG", 0.6),
    "15": ("plasma", 0.6),  # factor from memory
}


def arc_energy(voltage: float, current: float, speed: float) -> float:
    """Arc energy U I / v of EN 1011-1.

    Parameters
    ----------
    voltage, current : float
        [V, A]
    speed : float
        Of travel. [m/s]

    Returns
    -------
    float
        [J/m]
    """
    return voltage * current / speed


def heat_input(voltage: float, current: float, speed: float, process: str) -> float:
    """Heat input k U I / v of EN 1011-1: for records, not for temperatures.

    Parameters
    ----------
    voltage, current : float
        [V, A]
    speed : float
        Of travel. [m/s]
    process : str
        Number of ISO 4063, which says k.

    Returns
    -------
    float
        [J/m]
    """
    return PROCESSES[process][1] * arc_energy(voltage, current, speed)
