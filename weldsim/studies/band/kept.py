"""A band as its folder keeps it, for pictures of a run of the same job."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import StoreError
from weldsim.studies.stored_studies import StoredBand, read_study

Floats = NDArray[np.float64]

RECORD, CURVES, ENDS = "band.json", "band.csv", "ends.csv"
IN_RUN = "band"  # folder in a run's own where a band of it is looked for
LOW, HIGH = "_low", "_high"
FILES = ("material", "file")  # keys of a part that name files, wherever they lie
SOLVED = ("model", "end")  # of how a case is solved: what changes what it is about


@dataclass(frozen=True)
class KeptBand:
    """Curves and ends of a band, in the units of its columns.

    Attributes
    ----------
    folder : str
        Its name.
    job : dict
        What is welded, and how: see `job_of`.
    grade, finer : str
        Of its runs.
    runs : int
        How many.
    times : ndarray, shape (M,)
        Since the run started. [s]
    low, high : dict of str to ndarray
        Column -> between which nine of ten lie, (M,).
    ends : dict of str to ndarray
        Column -> cold ends of some draws, (S,).
    """

    folder: str
    job: dict[str, Any]
    grade: str
    finer: str
    runs: int
    times: Floats
    low: dict[str, Floats]
    high: dict[str, Floats]
    ends: dict[str, Floats]

    def is_of(self, job: dict[str, Any]) -> bool:
        """Whether it is of a case as it was resolved: the same part, welded the same way."""
        return self.job == job_of(job)


def job_of(resolved: dict[str, Any]) -> dict[str, Any]:
    """What is welded, and how, as JSON has it.

    Parameters
    ----------
    resolved : dict
        A case as it was resolved.

    Returns
    -------
    dict
        Without its title, without folders, and without how finely it is computed.
    """
    out = dict(json.loads(json.dumps({k: v for k, v in resolved.items() if k != "title"})))
    out["part"] = {
        k: Path(v).name if k in FILES and isinstance(v, str) else v for k, v in out["part"].items()
    }
    solve = out.get("solve") or {}
    out["solve"] = {k: solve.get(k) for k in SOLVED}
    return out


def read_kept_band(folder: Path) -> KeptBand:
    """A band from its folder.

    Parameters
    ----------
    folder : Path
        Of `weldsim band`.

    Returns
    -------
    KeptBand
        In the units of its columns.

    Raises
    ------
    StoreError
        If there is none, or it is damaged or of an older version.
    """
    folder = Path(folder)
    if not (folder / RECORD).is_file():
        raise StoreError(f"{folder}: no band of weldsim band in it")
    try:
        record = read_study(folder / RECORD, StoredBand)
        curves, ends = _columns(folder / CURVES), _columns(folder / ENDS)
        names = [n for n in curves if n != "time_s" and not n.endswith((LOW, HIGH))]
        return KeptBand(
            folder.resolve().name, record["case"], record["grade"], record["finer"],
            int(record["runs"]), curves["time_s"], {n: curves[n + LOW] for n in names},
            {n: curves[n + HIGH] for n in names}, ends,
        )  # fmt: skip
    except KeyError as error:
        raise StoreError(f"{folder}: its band holds no {error}; make it again") from None
    except (OSError, ValueError, TypeError) as error:
        raise StoreError(
            f"{folder}: no band of weldsim band: {getattr(error, 'strerror', None) or error}"
        ) from None


def _columns(path: Path) -> dict[str, Floats]:
    with path.open(encoding="utf-8", newline="") as handle:
        head, *rows = list(csv.reader(handle))
    values = np.array(rows, dtype=np.float64).reshape(len(rows), len(head))
    return dict(zip(head, values.T, strict=True))
