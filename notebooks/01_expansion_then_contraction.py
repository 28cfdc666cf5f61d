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
# # Expansion, then contraction
#
# A flat bar (220 x 45 x 8 mm, carbon steel) is clamped at one end. A light beam sits on the
# free end and points at a target. One bead runs across the front face, 80 mm from the clamped end,
# from the lower edge to the upper edge.
#
# **Predict before you run.** Have the class write down three answers:
#
# 1. The arc starts at the lower edge. Does the beam go up or down first?
# 2. Where along the bead does it turn back, if it does?
# 3. When everything is cold, where does the beam point: up or down, and towards the bead's side of
#    the bar or away from it?

# %%
import matplotlib.pyplot as plt
import numpy as np

import weldsim
from weldsim import plot

plot.use_style()
CASE = "../cases/pivot_arm_one_bead.toml"


def pointer(changes=None):
    """Time [s], up and right [mrad] of the beam, and when the arc stopped [s]."""
    case = weldsim.load_case(
        CASE, {"solve.grade": "quick", "solve.end": "400 s", **(changes or {})}
    )
    result = weldsim.solve(case, frames=0)
    (arc,) = result.timetable
    up, right = (1e3 * result.gauges["pointer", way] for way in ("up", "right"))  # rad to mrad
    return result.times, up, right, arc.end


# %% [markdown]
# ## The run
#
# Grade `quick`: good for first numbers, a minute or so for each run. Right is as seen looking
# along the beam, so the bead's side (front) is on the left: a negative number.

# %%
time, up, right, stop = pointer()

# %%
figure, axes = plt.subplots(1, 2, figsize=(11, 4), sharey=True)
for ax, end in zip(axes, (1.6 * stop, time[-1]), strict=True):
    ax.axvspan(0, stop, color=plot.ARC, label="arc on")
    ax.axhline(0, color=plot.QUIET, linewidth=0.8)
    ax.plot(time, up, label="up")
    ax.plot(time, right, "--", label="right")
    ax.set_xlim(0, end)
    ax.set_xlabel("time, s")
axes[0].set_ylabel("beam, mrad")
axes[0].set_title("while the arc burns")
axes[1].set_title("until it stands still")
axes[1].legend()
plt.show()

# %% [markdown]
# ## What happened
#
# - **First swing: away from the heated edge.** The lower edge is hot, longer than the upper edge,
#   and lifts the free end. The beam goes up.
# - **It turns back about half-way.** Once the arc has passed the middle of the width, the heat is
#   in the upper half and pushes down; behind the arc the metal that was squeezed while it was hot
#   cools and pulls.
# - **It moves on after the arc stops.** Most of what is left of the movement comes with cooling,
#   over a minute or two. A reading taken when the arc goes out is not the answer.
# - **In the end it points up and to the bead's side.** The edge that was welded last was squeezed
#   hardest and shrinks most; the front face was hotter than the back, so it shrinks more.
#
# All of these are common practice of the trade. The numbers:

# %%
out = np.interp(stop, time, up)  # when the arc goes out
highest = np.argmax(np.where(time <= stop, up, -np.inf))
print(f"arc on for {stop:.0f} s; highest at {time[highest]:.0f} s with {up[highest]:.1f} mrad")
print(f"arc out: up {out:.1f} mrad; cold: up {up[-1]:.1f}, right {right[-1]:.1f} mrad")

# %%
assert up[1] > 0  # the first swing is away from the heated lower edge
assert 0.35 < time[highest] / stop < 0.75  # it turns about half-way
assert out < 0.8 * up[highest]  # and loses a good part of the swing
assert up[-1] > out + 0.2 * abs(up[-1])  # it moves on after the arc
settled = np.abs(up - up[-1]) < 0.02 * np.abs(up).max()
assert settled[time > 200].all()  # over within a few minutes
assert up[-1] > 0  # cold: up
assert right[-1] < 0  # cold: to the side of the bead

# %% [markdown]
# ## Cold weld, hot weld
#
# The same bead at 100 A and at 245 A, with everything else as it was. **Predict:** which of the two
# bends the bar more to the side of the bead, which more in the direction of travel?

# %%
_, cold_up, cold_right, _ = pointer({"weld.A.current": "100 A"})
_, hot_up, hot_right, _ = pointer({"weld.A.current": "245 A"})

# %%
names = ("100 A", "200 A", "245 A")
travel = np.array([cold_up[-1], up[-1], hot_up[-1]])
side = np.array([-cold_right[-1], -right[-1], -hot_right[-1]])
place = np.arange(3)
plt.bar(place - 0.2, travel, 0.4, label="up, in the direction of travel")
plt.bar(place + 0.2, side, 0.4, label="to the side of the bead")
plt.xticks(place, names)
plt.ylabel("beam when cold, mrad")
plt.legend()
plt.show()
for name, t, s in zip(names, travel, side, strict=True):
    print(f"{name}: {t:5.1f} mrad in travel, {s:5.1f} mrad to the side")

# %% [markdown]
# - **Cold:** only the skin under the bead gets hot and soft. The front shrinks, the back does not:
#   the bar folds towards the bead, and hardly anything happens in its plane.
# - **Hot:** the bar is hot and soft through its whole thickness. Front and back shrink alike, so it
#   folds less, but the shrinkage is now that of the whole section, and the edge welded last wins.
#
# The two movements cross over between them. That more heat does not mean more of every movement is
# why a single "distortion factor" misleads.

# %%
assert side[0] > 3 * travel[0] > 0  # cold: side wins
assert travel[2] > 3 * side[2] > 0  # hot: travel wins
assert side[0] > 2 * side[2]  # the side movement falls with heat
assert travel[0] < travel[2]  # that in travel grows

# %% [markdown]
# ## Reverse travel
#
# The bead from the upper edge to the lower. **Predict:** what changes in the picture?

# %%
half = 0.6 * stop
time_down, up_down, right_down, _ = pointer({"weld.A.travel": "down", "solve.end": half})
plt.plot(time[time <= half], up[time <= half], label="travel up")
plt.plot(time_down, up_down, label="travel down")
plt.axhline(0, color=plot.QUIET, linewidth=0.8)
plt.xlabel("time, s")
plt.ylabel("beam up, mrad")
plt.legend()
plt.show()

# %% [markdown]
# The bar is the same upside down, so the beam's path is turned upside down and its sideways part
# stays: the welder's choice of direction is a choice of where the part will point.

# %%
same = np.interp(time_down, time, up)
assert np.abs(up_down + same).max() < 0.03 * np.abs(same).max()
assert np.abs(right_down - np.interp(time_down, time, right)).max() < 0.03 * np.abs(same).max()

# %% [markdown]
# ## Cautions
#
# The program plans, it does not approve. Whoever tries it at the bench reads these first.

# %%
print(*(f"- {line}" for line in (*weldsim.CAUTIONS, weldsim.DEFER)), sep="\n")
