"""How fast this machine is: what jobs took against what was estimated, kept in the work folder."""

from __future__ import annotations

import json
import math
import threading
from pathlib import Path

from weldsim.errors import WeldsimError
from weldsim.system.files import whole_file

KEPT = 8  # jobs of a kind, the newest
PICTURES = 45.0  # s for pictures and animation of a run where none was drawn yet
SHORTEST = 1.0  # s; what is over sooner tells of starting up alone
LIKELY = (0.05, 20.0)  # factors beyond are accidents: a machine that slept, a job that was helped


class Speed:
    """Times of jobs that are over, by kind.

    Parameters
    ----------
    path : Path
        File they are kept in; made when there is something to keep.
    """

    def __init__(self, path: Path):
        self._path, self._lock = path, threading.Lock()
        self._taken: dict[str, list[list[float]]] = {}
        try:
            found = json.loads(path.read_text(encoding="utf-8"))
            self._taken = {str(k): [[float(a), float(b)] for a, b in v] for k, v in found.items()}
        except (OSError, ValueError, TypeError, AttributeError, RecursionError):
            pass  # none yet, or damaged: it fills again

    def note(self, kind: str, estimated: float, taken: float) -> None:
        """Remember what a job took.

        Parameters
        ----------
        kind : str
            Of the job; "pictures" for what follows a run.
        estimated : float
            Uncorrected. [s]
        taken : float
            From begin to end. [s]
        """
        if estimated <= 0 or taken < SHORTEST:
            return
        with self._lock:
            rows = self._taken.setdefault(kind, [])
            rows.append([estimated, taken])
            del rows[:-KEPT]
            try:
                with whole_file(self._path) as beside:
                    beside.write_text(json.dumps(self._taken) + "\n", encoding="utf-8")
            except (OSError, WeldsimError):
                return  # a full disk: known until the server ends

    def factor(self, kind: str) -> float:
        """Time taken over time estimated, on the whole.

        Parameters
        ----------
        kind : str
            Of a job; runs and studies speak for each other where one has none.

        Returns
        -------
        float
            1 where nothing is known.
        """
        rows = self._taken.get(kind) or (self._taken.get("run") if kind != "pictures" else None)
        logs = [math.log(b / a) for a, b in rows or () if LIKELY[0] < b / a < LIKELY[1]]
        # half a job as estimated: one job alone does not say it all
        return math.exp(sum(logs) / (len(logs) + 0.5))

    def seconds(self, kind: str, estimated: float) -> float:
        """What a job will take here.

        Parameters
        ----------
        kind : str
            Of the job.
        estimated : float
            Uncorrected. [s]

        Returns
        -------
        float
            [s]
        """
        return self.factor(kind) * estimated

    def pictures(self) -> float:
        """What drawing the pictures of a run takes here.

        Returns
        -------
        float
            [s]
        """
        return self.seconds("pictures", PICTURES)

    @property
    def known(self) -> int:
        """How many runs the correction rests on."""
        return len(self._taken.get("run", ()))
