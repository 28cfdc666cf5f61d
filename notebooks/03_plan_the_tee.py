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
# # Plan the tee
#
# Four seams around the foot of a mast stub, each in one of two directions: 4! x 2^4 = 384 ways to
# weld it. Which one ends straight? `weldsim plan cases/mast_stub_plan.toml --out study` looks at
# all of them; here we do the same by hand for the two seams that decide how far the stub leans
# along the lower tube, so that it runs in a few minutes.
#
# **Predict before you run.** Front and back, each from left to right (+x) or from right to left
# (-x), either of them first: eight ways. Which of them tie, because one is the mirror image of the
# other? Which end closest to straight?

# %%
import tempfile
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np

from weldsim.studies.next.advice import advise
from weldsim.studies.plan.executor import executor
from weldsim.studies.plan.ranking import evaluate
from weldsim.studies.plan.space import load_plan
from weldsim.text.next_words import advice_lines
from weldsim.text.plan_words import opposite

FILE = "../cases/mast_stub_plan.toml"
plan = load_plan(FILE, ['plan.seams=["front", "back"]'])
folder = tempfile.mkdtemp()
print(f"all four seams: {load_plan(FILE).size} ways; two of them: {plan.size}")
assert load_plan(FILE).size == 384 and plan.size == 8

# %% [markdown]
# ## Each weld once for each past
#
# Two schedules that begin with the same weld share it. And the stub is its own mirror image, from
# left to right and from front to back, so a weld and its image are computed once. Eight schedules
# of two welds would be 16 welds; how many are left?

# %%
with executor(2) as found:
    outcomes = evaluate(plan, 0, plan.schedules(), "sketch", folder, found)
    for moves, outcome in sorted(outcomes.items(), key=lambda kv: kv[1].final):
        print(f"{plan.text(moves):24s} ends {1e3 * outcome.final:5.2f} mrad off")

# %%
computed = len(list(Path(folder, "branches").glob("*.json")))
print(f"{computed} welds were computed")
assert computed == 3  # one first weld, and the other seam either way after it

# %% [markdown]
# ## Where they end
#
# Answer to the first question: each way ties with three others (mirror images).

# %%
values = np.array([o.final for o in outcomes.values()])
assert len(np.unique(np.round(values, 9))) == 2

fig, axes = plt.subplots(figsize=(5, 5))
for moves, outcome in outcomes.items():
    same = moves[0][1] * opposite(plan)["front", "back"] == moves[1][1]
    axes.plot(
        outcome.columns["pointer_right_mrad"],
        outcome.columns["pointer_up_mrad"],
        "s" if same else "D",
        color="#b45309" if same else "#0b5394",
        label="the same way" if same else "opposite ways",
    )
handles, labels = axes.get_legend_handles_labels()
once = dict(zip(labels, handles, strict=True))
axes.legend(once.values(), once.keys())
axes.axhline(0, lw=0.5, color="black")
axes.axvline(0, lw=0.5, color="black")
axes.set(xlabel="across the lower tube, mrad", ylabel="along the lower tube, mrad", aspect="equal")

# %% [markdown]
# Two opposite welds run the same way pull further that way; run opposite ways they nearly cancel
# (common practice).

# %%
along = {}
for moves, outcome in outcomes.items():
    same = moves[0][1] * opposite(plan)["front", "back"] == moves[1][1]
    along.setdefault(same, []).append(abs(outcome.columns["pointer_up_mrad"]))
print(f"along the lower tube: the same way {np.mean(along[True]):.2f} mrad, "
      f"opposite ways {np.mean(along[False]):.2f} mrad")  # fmt: skip
assert np.mean(along[True]) > 1.5 * np.mean(along[False])

# %% [markdown]
# ## One weld ahead
#
# The front seam is welded, left to right. The beam is read before the next arc: it stands a little
# further out than the plan expected, as if the arc ran hotter than the book says. What does that
# say of the arc, and which way should the back seam go?

# %%
done = (("front", 1),)
columns = ("pointer_up_mrad", "pointer_right_mrad")
with executor(2) as found:
    expected = evaluate(plan, 0, [done], "sketch", folder, found)[done].columns
    reading = np.array([1.05 * expected[c] for c in columns])
    advice = advise(plan, folder, done, columns, reading, found)
for line in advice_lines(plan, advice):
    print(line)
assert not advice.estimate.contradictory
best = advice.directions[0]
assert best.off == min(w.off for w in advice.directions)

# %% [markdown]
# A reading that no arc could explain is said to be so, and not absorbed.

# %%
with executor(1) as found:
    odd = advise(plan, folder, done, columns, -3 * reading, found, noise=0.1, error=1e-4)
print(advice_lines(plan, odd)[2])
assert odd.estimate.contradictory

# %% [markdown]
# ## Exercise
#
# 1. Add `pause = "5 s"` beside `pause = "60 s"` with `vary` in the `[plan]` section. Does waiting
#    help?
# 2. Give `left = ["uphill"]` and `right = ["uphill"]` under `travel` and plan all four seams. How
#    many schedules are left? (24 orders x 2 x 2 = 96.)

# %%
uphill = load_plan(FILE, ['plan.travel={left = ["uphill"], right = ["uphill"]}'])
assert len(list(uphill.schedules())) == 96
