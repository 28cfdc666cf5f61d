"""A run folder without a run: a bar with two beads whose heat and movement are invented.

The fields and gauge readings are made-up smooth functions, for tests of files and pictures only.
"""

from types import SimpleNamespace

import numpy as np

from weldsim.model import Frame
from weldsim.store import RunFolder

LENGTH, WIDTH, THICKNESS = 0.2, 0.04, 0.006  # m
BEAD_WIDTH, BEAD_HEIGHT, SPEED, HEAT_DELAY = 0.007, 0.0015, 0.0013, 60.0
PLACES = {"A": 0.075, "B": 0.1}  # x of the beads, m
ARC = WIDTH / SPEED
TIMETABLE = [
    {"name": "A", "start": 0.0, "end": ARC},
    {"name": "B", "start": ARC + HEAT_DELAY, "end": 2 * ARC + HEAT_DELAY},
]
END = 900.0
THROW = 5.0


def case():
    """What `summarise` reads of a case."""
    welds = [
        SimpleNamespace(name=n, arc_energy=1800 / SPEED, heat_input=1080 / SPEED, length=WIDTH)
        for n in PLACES
    ]
    return SimpleNamespace(welds=welds, gauges=[SimpleNamespace(name="pointer", kind="pointer")])


def resolved():
    """The SI case of run.json."""
    weld = {"face": "front", "line": "across", "process": "141", "current": 150.0, "voltage": 12.0}
    return {
        "title": "Invented bar",
        "part": {"kind": "bar", "length": LENGTH, "width": WIDTH, "thickness": THICKNESS},
        "hold": {"kind": "vise", "length": 0.025, "release": "never"},
        "welds": [{"name": n, "at": x, "travel": "up", **weld} for n, x in PLACES.items()],
        "surroundings": {"ambient": 293.15, "preheat": 293.15},
        "gauges": [
            {"name": "pointer", "kind": "pointer", "at": "free end", "aim": "+x", "up": "+z",
             "throw": THROW}
        ],
        "solve": {"model": "plastic", "grade": "quick"},
    }  # fmt: skip


def mesh():
    """Heat mesh of the bar with two beads on its front face, and the weld of each cell."""
    import skfem

    x = np.unique(
        np.concatenate([np.linspace(0, LENGTH, 41)]
                       + [np.linspace(p - BEAD_WIDTH / 2, p + BEAD_WIDTH / 2, 5)
                          for p in PLACES.values()]).round(6)
    )  # fmt: skip
    y = np.append(np.linspace(-THICKNESS / 2, THICKNESS / 2, 5), THICKNESS / 2 + BEAD_HEIGHT)
    whole = skfem.MeshHex1.init_tensor(x, y, np.linspace(-WIDTH / 2, WIDTH / 2, 13))
    middle = whole.p[:, whole.t].mean(axis=1)
    weld = np.full(whole.t.shape[1], -1)
    for i, place in enumerate(PLACES.values()):
        weld[(middle[1] > THICKNESS / 2) & (np.abs(middle[0] - place) < BEAD_WIDTH / 2)] = i
    keep = (middle[1] < THICKNESS / 2) | (weld >= 0)
    return whole.restrict(np.flatnonzero(keep)), weld[keep]


def tilt(time):
    """Invented tilt of the free end, up and right: a swing out, a turn and a slow return. [rad]"""
    up = right = 0.0
    for weld in TIMETABLE:
        t = time - weld["start"]
        if t <= 0:
            continue
        hot = np.sin(np.pi * min(t / ARC, 1) * 0.9) * np.exp(-max(t - ARC, 0) / 15)
        settled = 1 - np.exp(-max(t - 0.4 * ARC, 0) / 25)
        up += -2.0e-3 * hot + 3.5e-3 * settled
        right += 1.0e-3 * hot - 1.6e-3 * settled
    return up, right


def readings(time):
    up, right = tilt(time)
    row = {
        "time_s": float(time),
        "pointer_up_mrad": 1e3 * up,
        "pointer_right_mrad": 1e3 * right,
        "pointer_up_mm": 1e3 * (THROW + 0.1) * up,
        "pointer_right_mm": 1e3 * (THROW + 0.1) * right,
    }
    for weld in TIMETABLE:
        since = time - weld["start"] - ARC / 2
        peak = 1380 * np.exp(-max(since, 0) / 12) if since >= 0 else 0.0
        row[f"{weld['name']}_middle_degC"] = float(20 + peak + 80 * (time > weld["start"]))
    return {k: float(v) for k, v in row.items()}


def frame(heat_mesh, weld_of_cell, time):
    """Invented fields at a time."""
    x, y, z = heat_mesh.p
    temperature = np.full(x.shape, 293.15)
    middle = heat_mesh.p[:, heat_mesh.t].mean(axis=1)
    laid = weld_of_cell < 0
    strain = np.zeros(middle.shape[1])
    for i, (weld, place) in enumerate(zip(TIMETABLE, PLACES.values(), strict=True)):
        since = time - weld["start"]
        if since <= 0:
            continue
        torch = -WIDTH / 2 + SPEED * min(since, ARC)
        laid |= (weld_of_cell == i) & (middle[2] <= torch + 1e-3)
        behind = np.clip(torch - z, 0, None)
        spread = 0.006 + 0.02 * (1 - np.exp(-behind / 0.02)) + 0.12 * max(since - ARC, 0) / 300
        ahead = np.where(z > torch, np.exp(-(((z - torch) / 0.006) ** 2)), 1.0)
        cooled = np.exp(-behind / 0.03 - max(since - ARC, 0) / 60)
        temperature += 1500 * ahead * cooled * np.exp(-(((x - place) / spread) ** 2))
        strain += 0.02 * laid * np.exp(-(((middle[0] - place) / 0.006) ** 2))
    up, right = tilt(time)
    arm = np.clip(x - PLACES["A"], 0, None)
    grown = 12e-6 * (temperature - 293.15)
    u = np.stack(
        [grown * 0.02 - up * z * (x > 0.07), -right * arm + grown * y, up * arm + grown * z]
    )
    return Frame(
        time=float(time),
        temperature=temperature,
        displacement=u.T * np.clip((x - 0.025) / 0.05, 0, 1)[:, None],
        laid=laid,
        von_mises=2e8 * np.clip(strain / 0.02, 0, 1),
        equivalent_plastic_strain=strain,
    )


def times(frames=True):
    """Times of frames, or the denser times of readings. [s]"""
    arc, rest = (9, 10) if frames else (40, 60)
    parts = [np.linspace(0, ARC, arc), TIMETABLE[1]["start"] + np.linspace(0, ARC, arc)]
    parts += [np.linspace(ARC, TIMETABLE[1]["start"], rest)]
    parts += [TIMETABLE[1]["end"] + np.geomspace(1, END - TIMETABLE[1]["end"], rest)]
    return np.unique(np.concatenate(parts).round(9))


def manifest(status="complete"):
    """run.json of the invented run."""
    return {
        "title": "Invented bar: two beads on one face",
        "status": status,
        "case": resolved(),
        "overrides": ["solve.grade=quick"],
        "versions": {"python": "3.11"},
        "grade": "quick",
        "solver": "none",
        "timetable": TIMETABLE,
        "mesh": {"cells": 1, "displacement_unknowns": 1, "temperature_unknowns": 1},
        "balances": {
            "heat_supplied_J": 8.5e4, "heat_lost_J": 8.4e4, "heat_stored_J": 1e3,
            "heat_gap": 2e-6, "largest_heat_gap": 3e-6,
            "source_rescale_least": 1.02, "source_rescale_most": 1.31,
        },
        "steps": 200,
        "retries": 0,
        "stage_times": {"mesh_s": 0.4, "solve_s": 21.0, "companion_s": 4.0},
        "simulated_s": END,
        "error_estimate": {
            "how": "difference to the same case at a coarser grade",
            "values": {"pointer_up_mrad": 0.2, "pointer_right_mrad": 0.1, "pointer_up_mm": 1.0,
                       "pointer_right_mm": 0.5},
        },
        "warnings": ["invented: for tests of files and pictures only"],
    }  # fmt: skip


def write_run(path, status="complete", frames=None):
    """Write the invented run to a folder and return the RunFolder."""
    from weldsim.summary import summarise

    folder = RunFolder.create(path, "Invented bar")
    heat_mesh, weld = mesh()
    part = SimpleNamespace(heat_mesh=heat_mesh)
    for index, time in enumerate(times() if frames is None else frames):
        folder.write_frame(index, frame(heat_mesh, weld, time), part)
    rows = [readings(t) for t in times(frames=False)]
    folder.write_gauges(rows)
    columns = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    interpass = {"A": 293.15, "B": 425.0}
    folder.write_json("summary.json", summarise(columns, TIMETABLE, case(), interpass))
    folder.write_json("run.json", manifest(status))
    return folder
