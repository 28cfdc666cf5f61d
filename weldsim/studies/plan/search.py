"""Plans with more sequences than can all be run: a seeded search on the same branches.

Optuna's tree-structured Parzen estimator proposes; each seam has a priority (its rank is its place
in the order) and a direction. Proposals come in rounds of fixed size and are told in order, so a
seed gives the same study whatever the number of workers.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from weldsim.errors import SetupError
from weldsim.schema.tolerance import SCALES
from weldsim.studies.plan.executor import Executor
from weldsim.studies.plan.outcomes import Outcome, Progress, evaluate
from weldsim.studies.plan.space import Moves, Plan

PROPOSALS_A_ROUND = 8
LATE_PENALTY = 1e12  # added to the end value of a schedule over the time allowed [SI]


def search(
    plan: Plan,
    folder: Path,
    executor: Executor,
    progress: Progress | None = None,
    arrived: Callable[[dict[tuple[int, Moves], Outcome]], None] | None = None,
) -> dict[tuple[int, Moves], Outcome]:
    """Outcomes of the sequences that a seeded search proposes.

    Parameters
    ----------
    plan : Plan
    folder : Path
        Of the study.
    executor : Executor
    progress : callable(share, text), optional
    arrived : callable(dict), optional
        Given the outcomes of each round of proposals.

    Returns
    -------
    dict
        (setting, moves) -> Outcome
    """
    optuna = _optuna(plan)
    progress = progress or (lambda share, text: None)
    section = plan.section
    sampler = optuna.samplers.TPESampler(seed=section.seed, multivariate=True, n_startup_trials=16)
    study = optuna.create_study(sampler=sampler, direction="minimize")
    fast: dict[tuple[int, Moves], Outcome] = {}
    asked = 0
    while asked < section.trials:
        batch = []
        for _ in range(min(PROPOSALS_A_ROUND, section.trials - asked)):
            trial = study.ask()
            batch.append((trial, *_proposed(plan, trial)))
        asked += len(batch)
        for setting in sorted({s for _, s, _ in batch}):
            wanted = sorted({m for _, s, m in batch if s == setting and (s, m) not in fast})
            if wanted:
                done = evaluate(plan, setting, wanted, section.grade, folder, executor)
                found = {(setting, m): o for m, o in done.items()}
                fast |= found
                if arrived:
                    arrived(found)
        for trial, setting, moves in batch:
            outcome = fast[setting, moves]
            if outcome.error:
                study.tell(trial, state=optuna.trial.TrialState.FAIL)
            else:  # one that takes too long is worse than any that does not
                late = section.longest and outcome.time > section.longest
                study.tell(trial, outcome.final + (LATE_PENALTY if late else 0.0))
        best = min((o.final for o in fast.values() if not o.error), default=np.nan)
        scale, unit = SCALES[plan.tolerance.measure]
        progress(
            asked / section.trials,
            f"{asked} of {section.trials} proposals, best {scale * best:.3g} {unit}",
        )
    return fast


def _optuna(plan: Plan) -> Any:
    """The library that proposes, told to be quiet."""
    try:
        import optuna
    except ImportError:
        raise SetupError(
            f"{plan.size} sequences are too many to run them all, and searching them needs the "
            'package optuna: pip install "weldsim[search]"'
        ) from None
    optuna.logging.set_verbosity(optuna.logging.WARNING)
    return optuna


def _proposed(plan: Plan, trial: Any) -> tuple[int, Moves]:
    """Setting and moves of a proposal; rules of order are kept."""
    setting = 0
    if len(plan.settings) > 1:
        setting = trial.suggest_int("setting", 0, len(plan.settings) - 1)
    place = {s: trial.suggest_float(f"place {s}", 0.0, 1.0) for s in plan.words}
    direction = {
        s: trial.suggest_categorical(f"travel {s}", sorted(w)) if len(w) > 1 else next(iter(w))
        for s, w in plan.words.items()
    }
    section = plan.section
    rank = {s: (s not in section.first, s in section.last, place[s]) for s in plan.words}
    order: list[str] = []
    waiting = sorted(plan.words, key=rank.get)
    while waiting:  # the first that waits for none that is not welded yet
        barred = {b for a, b in section.before if a in waiting}
        free = next((s for s in waiting if s not in barred), waiting[0])
        order.append(free)
        waiting.remove(free)
    return setting, tuple((s, direction[s]) for s in order)
