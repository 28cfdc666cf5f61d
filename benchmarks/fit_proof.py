"""One number fitted on one condition; do the others come out?

    python benchmarks/fit_proof.py --plates     # cooling times of EN 1011-2, a minute or two
    python benchmarks/fit_proof.py --tracks     # laser tracks of NIST, minutes

Heat alone, by weldsim's own conduction step. Nothing but the one number is tuned. Prints Markdown.
"""

from __future__ import annotations

import argparse

import numpy as np

from weldsim.validation.plates import SCATTER, conditions, cooling_time, thick, thin
from weldsim.validation.tracks import TRACKS, fitted, tracks

# -- plates: t8/5 of EN 1011-2:2001, Annex D, bead on plate (F2 = F3 = 1), unalloyed steel ---------

FITTED_ON = (1.5, 10, 20)  # thin, 0.55 of the transition thickness, in the middle of the range


def plates(
    cells: list[tuple[float, int, int]] | None = None, losses: bool = False
) -> tuple[float, list[tuple]]:
    """The factor on the standard's net heat, and (heat, d, preheat, standard, computed) of each."""
    heat, d, preheat = FITTED_ON
    factor = fitted(lambda f: cooling_time(*FITTED_ON, f, losses), thin(heat, d, preheat), 1.0, 1.2)
    rows = []
    for heat, d, preheat in cells or conditions():
        wanted = max(thin(heat, d, preheat), thick(heat, preheat))
        rows.append((heat, d, preheat, wanted, cooling_time(heat, d, preheat, factor, losses)))
    return factor, rows


def print_plates(losses: bool) -> None:
    """Table of plates."""
    factor, rows = plates(losses=losses)
    how = "with" if losses else "without"
    print(f"{how} losses to the air; factor on the net heat, fitted on {FITTED_ON}: {factor:.3f}\n")
    print("| preheat, degC | Q, kJ/mm | d, mm | flow | EN 1011-2, s | computed, s | off |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    off = []
    for heat, d, preheat, wanted, found in rows:
        flow = "in the plane" if thin(heat, d, preheat) > thick(heat, preheat) else "in depth"
        mark = " (fitted)" if (heat, d, preheat) == FITTED_ON else ""
        off.append(found / wanted - 1)
        print(f"| {preheat} | {heat} | {d} | {flow} | {wanted:.1f} | {found:.1f} "
              f"| {100 * off[-1]:+.0f} %{mark} |", flush=True)  # fmt: skip
    inside = np.mean(np.abs(off) <= SCATTER)
    print(f"\nroot mean square {100 * np.sqrt(np.mean(np.square(off))):.0f} %; "
          f"{100 * inside:.0f} % of {len(off)} within {100 * SCATTER:.0f} %")  # fmt: skip


# -- laser tracks on bare IN625: Lane et al., Integr. Mater. Manuf. Innov. 9 (2020), AMB2018-02 ----

# -- laser tracks on bare IN625: weldsim.validation.tracks ---------------------------------------

# A conduction model of others, nothing fitted (width, depth, length off by): reference T2
PUBLISHED = {"B": (0.06, -0.005, -0.26), "A": (-0.04, -0.24, -0.20)}


def print_tracks() -> None:
    """Table of tracks."""
    print("| heat | absorptivity | track | width | depth | length | rate 1290 to 1190 degC |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for surface in (True, False):
        absorbed, found = tracks(surface)
        for t in TRACKS:
            off = found[t.name][:4] / np.array([t.width, t.depth, t.length, t.rate]) - 1
            cells = [f"{1e6 * v:.0f} um ({100 * o:+.0f} %)"
                     for v, o in zip(found[t.name][:3], off[:3], strict=True)]  # fmt: skip
            print(f"| {'on the surface' if surface else 'in a half ball'} | {absorbed:.3f} "
                  f"| {t.name} | {' | '.join(cells)} "
                  f"| {found[t.name][3]:.2e} K/s ({100 * off[3]:+.0f} %) |",
                  flush=True)  # fmt: skip
    for name, off in PUBLISHED.items():
        cells = [f"({100 * o:+.0f} %)" for o in off]
        print(f"| published, nothing fitted | not stated | {name} | {' | '.join(cells)} | |")


def main() -> None:
    """Print the tables that are asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--plates", action="store_true")
    parser.add_argument("--tracks", action="store_true")
    asked = parser.parse_args()
    if asked.plates or not asked.tracks:
        print_plates(False)
        print_plates(True)
    if asked.tracks or not asked.plates:
        print_tracks()


if __name__ == "__main__":
    main()
