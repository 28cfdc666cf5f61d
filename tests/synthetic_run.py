"""Run folders without a run: a bar with two beads, a tee; heat and movement are invented.

The fields and gauge readings are made-up smooth functions, for tests of files and pictures only.
"""

from types import SimpleNamespace

import numpy as np

from weldsim.runs.folder import RunFolder
from weldsim.simulation.frame import Frame

LENGTH, WIDTH, THICKNESS = 0.2, 0.04, 0.006  # m
BEAD_WIDTH, BEAD_HEIGHT, SPEED, HEAT_DELAY = 0.007, 0.0015, 0.0013, 60.0
PLACES = {"A": 0.08, "B": 0.112}  # x of the beads, m
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
        SimpleNamespace(
            name=n,
            arc=SimpleNamespace(arc_energy=1800 / SPEED, heat_input=1080 / SPEED),
            length=WIDTH,
        )
        for n in PLACES
    ]
    return SimpleNamespace(welds=welds, gauges=[SimpleNamespace(name="pointer", kind="pointer")])


def resolved():
    """The SI case of run.json."""
    weld = {"face": "front", "line": "across", "process": "141", "current": 150.0, "voltage": 12.0}
    return {
        "title": "Invented bar",
        "part": {"kind": "bar", "length": LENGTH, "width": WIDTH, "thickness": THICKNESS},
        "clamping": {"kind": "one end", "length": 0.025, "release": "never"},
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
    active = weld_of_cell < 0
    strain = np.zeros(middle.shape[1])
    for i, (weld, place) in enumerate(zip(TIMETABLE, PLACES.values(), strict=True)):
        since = time - weld["start"]
        if since <= 0:
            continue
        torch = -WIDTH / 2 + SPEED * min(since, ARC)
        active |= (weld_of_cell == i) & (middle[2] <= torch + 1e-3)
        behind = np.clip(torch - z, 0, None)
        spread = 0.006 + 0.02 * (1 - np.exp(-behind / 0.02)) + 0.12 * max(since - ARC, 0) / 300
        ahead = np.where(z > torch, np.exp(-(((z - torch) / 0.006) ** 2)), 1.0)
        cooled = np.exp(-behind / 0.03 - max(since - ARC, 0) / 60)
        temperature += 1500 * ahead * cooled * np.exp(-(((x - place) / spread) ** 2))
        strain += 0.02 * active * np.exp(-(((middle[0] - place) / 0.006) ** 2))
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
        active=active,
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
        "stage_times": {"mesh_s": 0.4, "solve_s": 21.0, "error_estimate_s": 4.0},
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
    from weldsim.runs.summary import summarise

    folder = RunFolder.create(path, "Invented bar")
    heat_mesh, weld = mesh()
    part = SimpleNamespace(heat_mesh=heat_mesh)
    for index, time in enumerate(times() if frames is None else frames):
        folder.write_frame(index, frame(heat_mesh, weld, time), part)
    rows = [readings(t) for t in times(frames=False)]
    columns = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    folder.write_gauges(columns)
    interpass = {"A": 293.15, "B": 425.0}
    folder.write_json("summary.json", summarise(columns, TIMETABLE, case(), interpass))
    folder.write_json("run.json", manifest(status))
    return folder


# A block standing on another: a tee with a seam in front, welded in two stretches, one behind, and
# an arc that lays a tack on the right. Chord along x, branch along z, front is +y.
HALF, HIGH, CHORD, LEG = 0.01, 0.06, 0.05, 0.004  # m
JOINT_TIMETABLE = [
    {"name": "tack1", "start": 0.0, "end": 1.5},
    {"name": "front.1", "start": 10.0, "end": 15.0},
    {"name": "front.2", "start": 15.0, "end": 20.0},
    {"name": "back", "start": 80.0, "end": 90.0},
]
JOINT_END = 300.0


def joint_paths():
    """`paths` of run.json: a bead's middle lies half a leg out and up."""
    y, z, diagonal = HALF + LEG / 2, LEG / 2, np.sqrt(0.5)
    ends = {
        "tack1": ("right", (y, -0.002, z), (y, 0.002, z), (-diagonal, 0.0, -diagonal)),
        "front.1": ("front", (0.0, y, z), (-HALF, y, z), (0.0, -diagonal, -diagonal)),
        "front.2": ("front", (HALF, y, z), (0.0, y, z), (0.0, -diagonal, -diagonal)),
        "back": ("back", (HALF, -y, z), (-HALF, -y, z), (0.0, diagonal, -diagonal)),
    }
    return [
        {"name": name, "seam": seam, "points": [list(a), list(b)], "inward": list(inward)}
        for name, (seam, a, b, inward) in ends.items()
    ]


def joint_resolved():
    """The SI case of run.json of the tee."""
    arc = {"process": "141", "current": 110.0, "voltage": 11.5, "speed": 0.002,
           "bead_width": 1.4 * LEG, "number": 1, "filler": True}  # fmt: skip
    welds = [
        {"name": "tack1", "seam": "right", "begin": 0.008, "finish": 0.012, "travel": "+y",
         "direction": 1, "tack": 0, **arc},
        {"name": "front.1", "seam": "front", "begin": 0.0, "finish": 0.01, "travel": "+x",
         "direction": -1, "tack": -1, **arc},
        {"name": "front.2", "seam": "front", "begin": 0.01, "finish": 0.02, "travel": "+x",
         "direction": -1, "tack": -1, **arc},
        {"name": "back", "seam": "back", "begin": 0.0, "finish": 0.02, "travel": "-x",
         "direction": -1, "tack": -1, **arc},
    ]  # fmt: skip
    never = {"kind": "never", "seconds": 0.0, "weld": None, "temperature": None}
    start = {"kind": "time", "seconds": 0.0, "weld": None, "temperature": None}
    return {
        "title": "Invented tee",
        "part": {"kind": "square-tube-tee", "leg": LEG, "penetration": 0.001, "up": "+y"},
        "clamping": {"kind": "free"},
        "welds": welds,
        "clamps": [
            {"name": "saddle", "at": ["chord start"], "kind": "spring", "stiffness": 5e6,
             "turning": 0.0, "conductance": 0.0, "on": start, "off": never},
            {"name": "jig", "at": ["branch end"], "kind": "rigid", "stiffness": 0.0,
             "turning": 0.0, "conductance": 200.0, "on": start,
             "off": {**start, "kind": "after", "seconds": 20.0, "weld": "front.2"}},
        ],
        "tacks": [
            {"seam": "right", "begin": 0.008, "finish": 0.012, "size": 0.002, "arc": True},
            {"seam": "front", "begin": 0.0, "finish": 0.003, "size": 0.002, "arc": False},
        ],
        "preset": [0.005, 0.0, 0.0],
        "cooling_film_coefficient": 60.0,
        "surroundings": {"ambient": 293.15, "preheat": 293.15},
        "gauges": [
            {"name": "pointer", "kind": "pointer", "at": "branch end", "aim": "+z", "up": "+x",
             "throw": THROW},
            {"name": "gap", "kind": "gap", "at": "front"},
            {"name": "push", "kind": "reaction", "at": "saddle"},
        ],
        "solve": {"model": "plastic", "grade": "quick"},
    }  # fmt: skip


def joint_mesh():
    """Heat mesh of the tee with beads as small boxes, and the weld of each cell; -1 is metal."""
    import skfem

    side, steps = HALF + LEG, np.linspace(-HALF, HALF, 5)
    x = np.unique(np.r_[np.linspace(-CHORD, -side, 5), steps, np.linspace(side, CHORD, 5)])
    y = np.unique(np.r_[-side, steps, side])
    z = np.unique(np.r_[np.linspace(-2 * HALF, 0.0, 4), LEG, np.linspace(LEG, HIGH, 7)])
    whole = skfem.MeshHex1.init_tensor(x, y, z)
    mx, my, mz = whole.p[:, whole.t].mean(axis=1)
    weld = np.full(mx.shape, -2)  # air
    weld[mz < 0] = -1
    weld[(mz > 0) & (np.abs(mx) < HALF) & (np.abs(my) < HALF)] = -1
    foot = (mz > 0) & (mz < LEG)
    weld[foot & (mx > HALF) & (mx < side) & (np.abs(my) < 0.006)] = 0
    weld[foot & (my > HALF) & (mx < 0) & (mx > -HALF)] = 1
    weld[foot & (my > HALF) & (mx > 0) & (mx < HALF)] = 2
    weld[foot & (my < -HALF) & (np.abs(mx) < HALF)] = 3
    keep = np.flatnonzero(weld > -2)
    return whole.restrict(keep), weld[keep]


def joint_frame(heat_mesh, weld_of_cell, time):
    """Invented fields of the tee: the branch leans, metal near the newest arc glows."""
    x, y, z = heat_mesh.p
    active = weld_of_cell < 0
    temperature = np.full(x.shape, 293.15)
    for i, (entry, path) in enumerate(zip(JOINT_TIMETABLE, joint_paths(), strict=True)):
        if time <= entry["start"]:
            continue
        active |= weld_of_cell == i
        a, b = np.array(path["points"])
        share = min((time - entry["start"]) / (entry["end"] - entry["start"]), 1.0)
        away = np.linalg.norm(heat_mesh.p.T - (a + share * (b - a)), axis=1)
        cooled = np.exp(-max(time - entry["end"], 0.0) / 30)
        temperature += 1300 * cooled * np.exp(-((away / 0.006) ** 2))
    lean = 4e-3 * (1 - np.exp(-time / 40))
    up = np.clip(z, 0, None)
    return Frame(
        time=float(time), temperature=temperature,
        displacement=np.stack([lean * up, -2 * lean * up, 0 * z], axis=1), active=active,
        von_mises=np.full(active.shape, 1e8), equivalent_plastic_strain=np.zeros(active.shape),
    )  # fmt: skip


def joint_readings(time):
    """Gauges of the tee: the pointer leans, the gap closes, the clamp takes 3, 4 and 12 parts."""
    lean = 4.0 * (1 - np.exp(-time / 40))
    grown = min(time / 20.0, 1.0)
    row = {
        "time_s": time, "pointer_up_mrad": lean, "pointer_right_mrad": -2 * lean,
        "pointer_up_mm": 5.06 * lean, "pointer_right_mm": -10.12 * lean,
        "gap_opening_mm": -0.125 * grown,
    }  # fmt: skip
    force = dict(zip("xyz", (300.0, -400.0, 1200.0), strict=True))
    moment = dict(zip("xyz", (2.0, 0.0, 0.0), strict=True))
    row |= {f"push_F{a}_N": v * grown for a, v in force.items()}
    row |= {f"push_M{a}_Nm": v * grown for a, v in moment.items()}
    return {k: float(v) for k, v in row.items()} | {
        f"{e['name']}_middle_degC": 20.0 + 900.0 * float(np.exp(-abs(time - e["end"]) / 10))
        for e in JOINT_TIMETABLE
    }


def write_joint_run(path, frames=(0.0, 12.5, 17.5, 85.0, JOINT_END)):
    """Write the invented run of the tee to a folder and return the RunFolder."""
    from weldsim.runs.summary import summarise

    folder = RunFolder.create(path, "Invented tee")
    heat_mesh, weld = joint_mesh()
    for index, time in enumerate(frames):
        folder.write_frame(index, joint_frame(heat_mesh, weld, time),
                           SimpleNamespace(heat_mesh=heat_mesh))  # fmt: skip
    rows = [joint_readings(float(t)) for t in np.linspace(0, JOINT_END, 151)]
    columns = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    folder.write_gauges(columns)
    welds = [
        SimpleNamespace(name=e["name"], arc=SimpleNamespace(arc_energy=6e5, heat_input=4e5))
        for e in JOINT_TIMETABLE
    ]
    summary = summarise(columns, JOINT_TIMETABLE, SimpleNamespace(welds=welds))
    summary["locked_in"] = {
        "largest_von_mises_MPa": 355.2, "mean_weld_zone_MPa": 270.4,
        "reactions": {"saddle": {"force_N": 1300.0, "moment_Nm": 2e-9}},
        "released": [{"time_s": 40.0, "clamps": ["jig"], "change": {"pointer_up_mm": -9.83}}],
    }  # fmt: skip
    folder.write_json("summary.json", summary)
    folder.write_json("run.json", {
        **manifest(), "title": "Invented tee", "case": joint_resolved(),
        "timetable": JOINT_TIMETABLE, "error_estimate": {}, "paths": joint_paths(),
        "clamps": [{"name": "saddle", "places": [[-CHORD, 0.0, -HALF]]},
                   {"name": "jig", "places": [[0.0, 0.0, HIGH]]}],
    })  # fmt: skip
    return folder
