# ---
# jupyter:
#   jupytext:
#     text_representation:
#       extension: .py
#       format_name: percent
#   kernelspec:
#     display_name: Python 3
#     language: python
#     name: python3
# ---

# %% [markdown]
# # weldsim from Python
#
# Everything the command line, the page and the studies do goes through a few functions, and these
# are they. This notebook runs a case, sweeps a current, reads a run folder into pandas, looks at
# the fields, and adds a gauge and a material of its own. It takes about a minute.
#
# Inside, all numbers are SI: metres, radians, seconds, kelvin, pascal. Only text carries a unit:
# `"120 A"`, `"4 in/min"`.

# %%
import tempfile
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np

import weldsim
from weldsim import plot

plot.use_style()
CASE = "../cases/pivot_arm_one_bead.toml"
GRADE = (
    "sketch"  # for trying things out; "quick" for first numbers, "normal" for numbers to plan with
)

# %% [markdown]
# ## A case, and changes to it
#
# `load_case` reads a case file and checks it. Changes go by section, name and key, as text with a
# unit or as a number in SI; what is wrong comes back as one line for each mistake.

# %%
case = weldsim.load_case(CASE, {"weld.A.current": "120 A", "solve.end": "120 s"})
print(*weldsim.describe(case)[:4], sep="\n")
try:
    case.with_changes({"weld.A.current": "120 V"})
except weldsim.CaseError as error:
    print("\nrefused:", error)

# %% [markdown]
# ## Run it
#
# `solve` computes in memory and writes nothing.

# %%
result = weldsim.solve(case, GRADE)
print(result)

# %% [markdown]
# `result.gauges` holds an array for each reading, found by gauge and component. A pointer reads
# two things: the tilt of its beam [rad], and how far its spot moves on the target [m]; the third
# name, the unit it is shown in, tells them apart.

# %%
tilt = result.gauges["pointer", "up"]
spot = result.gauges["pointer", "up", "mm"]
print(result.gauges)
print(f"cold: {1e3 * tilt[-1]:.1f} mrad up, {1e3 * spot[-1]:.0f} mm on the target at 4 m")
plot.gauges(result)

# %%
# A spot moves by target distance times tilt, and a little with the end of the bar itself: by the tilt times
# its distance from the bead, which is less than the bar is long.
assert np.all(np.abs(spot - 4.0 * tilt) <= case.part.length * np.abs(tilt))
assert result.gauges.unit(("pointer", "up")) == "rad"

# %% [markdown]
# Heat balance, warnings, and how far the numbers may be off: the estimated error is
# the way to the same case one grade coarser. Sketch has no coarser grade, so ask for it at coarse.

# %%
print(f"supplied {result.balance.supplied:.0f} J, open {result.balance.gap:.1e} of it")
print(*result.warnings, sep="\n")
short = weldsim.solve(case.with_changes({"solve.end": "20 s"}), "coarse", frames=0)
error = short.error_estimate()
print(error.how)
for column, value in error.values.items():
    print(f"  {column.gauge} {column.component}: ±{column.factor * value:.2g} {column.unit}")

# %%
# heat of a TIG arc: efficiency times volts times amperes, while it burns (45 mm at 1.1 mm/s)
assert abs(result.balance.supplied - 0.77 * 12.5 * 120 * 45 / 1.1) < 1.0
assert result.balance.gap < 1e-3

# %% [markdown]
# ## Fields
#
# `result.at(t)` gives the fields that were kept nearest to a time (their own time stands in them;
# nothing is interpolated), on a scikit-fem mesh.

# %%
fields = result.at(15.0)
print(f"kept at {fields.time:.1f} s; hottest {fields.temperature.max() - 273.15:.0f} °C")
x, y, z = fields.mesh.p
front = y > 0.0039  # the face with the bead
plt.figure(figsize=(8, 2.6))
plt.tricontourf(1e3 * x[front], 1e3 * z[front], fields.temperature[front] - 273.15, levels=20)
plt.colorbar(label="°C")
plt.gca().set(aspect="equal", xlabel="from the clamped end, mm", ylabel="height, mm")
plt.title(f"front face at {fields.time:.0f} s (grade {result.grade})")
plt.show()

# %%
# The heat that is in the bar, by hand: density times specific heat times what it has warmed up.
# At the last step the bar is warm, about 140 °C on average, and nothing is hot any more; between
# 20 and 140 °C the specific heat of steel is 475 J/(kg K) on average (EN 1993-1-2, 3.4.1.2).
end = result.at(120.0)
warm = end.integral(end.temperature - case.surroundings.preheat)  # K m3
stored = 7850 * 475 * warm  # J
print(f"stored at the end: {result.balance.stored:.0f} J by the balance, {stored:.0f} J by hand")
assert abs(stored / result.balance.stored - 1) < 0.1

# %% [markdown]
# For pictures in three dimensions there is PyVista. Names carry their units, as in the files of a
# run folder.

# %%
grid = result.to_pyvista(15.0)
print(grid.point_data.keys(), grid.cell_data.keys())
shape = grid.warp_by_vector("displacement_m", factor=20)  # exaggerated 20 times
assert np.isclose(grid["temperature_K"].max(), fields.temperature.max())
# shape.plot(scalars="temperature_K") opens a window

# %% [markdown]
# ## A sweep
#
# is a loop. Here the current, from cold to hot: a cold weld folds the bar to its own side (right is
# negative there), a hot one bends it the way the arc went.

# %%
currents = np.array([70.0, 100.0, 130.0, 160.0])  # A
ends = []
for current in currents:
    run = weldsim.solve(case.with_changes({"weld.A.current": current}), GRADE, frames=0)
    ends.append([run.gauges["pointer", way][-1] for way in ("up", "right")])
up, right = 1e3 * np.array(ends).T

# %%
plt.plot(currents, up, "o-", label="up, the way the arc went")
plt.plot(currents, -right, "s--", label="to the side of the bead")
plt.xlabel("current, A")
plt.ylabel("beam at 120 s, mrad")
plt.legend()
plt.show()

# %%
# Common practice, and what notebook 01 shows at a finer grade.
assert np.all(np.diff(up) > 0)  # more heat, more along the travel
assert np.all(right < 0)  # always to the side of the bead

# %% [markdown]
# ## Run folders, and pandas
#
# `run` writes a folder as `weldsim run` does, at the grade the case states, and `read_run` reads
# one back: the same kind of result. An arc of five seconds will do here.

# %%
folder = Path(tempfile.mkdtemp()) / "run"
brief = case.with_changes({"solve.grade": "quick", "solve.end": "5 s"})
weldsim.run(brief, folder, error_estimate=False)
read = weldsim.read_run(folder)
print(read)

# %%
table = read.gauges.to_dataframe()  # SI: the third level of the columns is the unit
table.tail(3)

# %%
assert table.index[-1] == read.times[-1] == 5.0
assert table["pointer", "up", "rad"].iloc[-1] == read.gauges["pointer", "up"][-1]
assert (folder / "gauges.csv").exists()  # the same in mrad, mm and °C, for a spreadsheet

# %% [markdown]
# ## A gauge of one's own
#
# is a function from the fields of a step to a number in SI. This one reads how long the pool is:
# the farthest distance between two points that are liquid.

# %%
LIQUIDUS = weldsim.load_material(case.material_path).liquidus


def pool_length(fields):
    """Length of the liquid metal along the bead. [m]"""
    liquid = fields.temperature > LIQUIDUS
    return np.ptp(fields.mesh.p[2][liquid]) if liquid.any() else 0.0


pool = weldsim.OwnGauge("pool", "length", "mm", pool_length)
watched = weldsim.solve(case.with_changes({"solve.end": "60 s"}), GRADE, gauges=[pool], frames=0)
length = watched.gauges["pool", "length"]
plt.step(watched.times, 1e3 * length, where="pre")
plt.xlabel("time, s")
plt.ylabel("pool, mm (to a cell)")
plt.show()

# %%
assert length[0] == 0.0 and length[-1] == 0.0  # nothing melts before the arc, all is solid after
assert 0.002 < length.max() < 0.045  # some millimetres, and no longer than the bar is wide

# %% [markdown]
# ## A material of one's own
#
# is a file beside the case, with a source for every curve. Start from one that is there
# (`weldsim material carbon-steel` prints it); here a steel that is half as heavy, which no mill
# sells, so that the answer is known: it warms more.

# %%
source = Path(weldsim.__file__).parent / "data" / "materials" / "carbon-steel.toml"
own = folder.parent / "light-steel.toml"
own.write_text(source.read_text().replace('"7850 kg/m3"', '"3925 kg/m3"'))
(folder.parent / "case.toml").write_text(Path(CASE).read_text())
light = weldsim.load_case(
    folder.parent / "case.toml",
    {"part.material": own.name, "weld.A.current": "120 A", "solve.end": "20 s"},
)
lighter = weldsim.solve(light, GRADE, frames=0)
same = weldsim.solve(case.with_changes({"solve.end": "20 s"}), GRADE, frames=0)
mean = [
    r.at(20.0).integral(r.at(20.0).temperature) / r.at(20.0).integral(np.ones(r.mesh.p.shape[1]))
    for r in (same, lighter)
]
print(f"the bar at 20 s, mean: {mean[0] - 273.15:.0f} °C, half as heavy {mean[1] - 273.15:.0f}")

# %%
# Half the mass takes half the heat for a degree, so it warms about twice as much; a little less,
# since steel takes more heat for a degree as it gets hot, and since more of it is lost.
assert 1.4 < (mean[1] - 293.15) / (mean[0] - 293.15) < 2.0

# %% [markdown]
# ## What else
#
# - `weldsim.explain(result)`: which weld, and which part of it, moved a gauge.
# - `weldsim.load_plan(file)` and `weldsim.rank(plan, folder)`: many sequences, ranked (notebook 03).
# - `weldsim.solve(other_case, start=result)`: start from where a run ended (notebook 02).
# - `weldsim.build_model` and `weldsim.simulate`: step by step, with the whole state (notebook 04).
# - `weldsim.result_words(result)`: what the terminal says.
