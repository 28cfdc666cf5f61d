"""Files of measurements that were brought to the page: one folder each in the work folder.

A file comes under a name that a browser gives: it is a label, never a path. The folder has a name
of its own, what lies in it has names that are made here.
"""

from __future__ import annotations

import json
import re
import secrets
import shutil
import threading
import time
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

from weldsim.errors import StoreError, WeldsimError
from weldsim.page.job_store import ID
from weldsim.runs.stored import read_json_file
from weldsim.system.files import write_json

FOLDER, ABOUT, CLIP = "measured", "about.json", "clip.film"
KINDS = ("table", "clip")
MOST_KEPT, MOST_CLIPS = 200, 12
MOST_AT_ONCE = 3  # files that come in
LEFT_FREE = 2 * 2**30  # bytes of the disk that runs need
MOST_LETTERS = 40


@dataclass(frozen=True)
class Measured:
    """One file that was brought.

    Attributes
    ----------
    id : str
        16 hexadecimal digits; the name of its folder.
    name : str
        As the browser called it, for showing.
    kind : str
        `table` or `clip`.
    owner : str
        Browser it came from.
    made : float
        Seconds since 1970.
    table : str
        Name of its readings in the folder; blank for a clip that is not read yet.
    words : tuple of str
        What was read from a clip.
    gauge : str
        Pointer whose spot a clip shows; blank for a table and a clip that is not read yet.
    rest : tuple of float
        Where the spot of a clip came to rest, up and right, and the standard deviation. [mm]
    """

    id: str
    name: str
    kind: str
    owner: str
    made: float
    table: str = ""
    words: tuple[str, ...] = ()
    gauge: str = ""
    rest: tuple[float, ...] = ()


def plain_name(name: str) -> str:
    """A name for a file after the one that a browser gave: letters, digits and dashes.

    Parameters
    ----------
    name : str
        Any letters.

    Returns
    -------
    str
        Without a folder and an ending.
    """
    stem = name.replace("\\", "/").rpartition("/")[2].rpartition(".")
    plain = re.sub(r"[^A-Za-z0-9]+", "-", stem[0] or stem[2]).strip("-")
    return plain[:MOST_LETTERS].rstrip("-") or "readings"


class MeasuredStore:
    """Measurements of one work folder, on disk.

    Parameters
    ----------
    work : Path
        They lie in its folder `measured`.
    """

    def __init__(self, work: Path):
        self.folder = work / FOLDER
        self._lock, self._coming = threading.Lock(), 0

    def begin(self, kind: str) -> Path:
        """A folder for a file that comes in; `end` follows in any case.

        Parameters
        ----------
        kind : str
            `table` or `clip`.

        Returns
        -------
        Path
            New and empty.

        Raises
        ------
        WeldsimError
            If there are too many, or too little room on the disk.
        """
        with self._lock:
            if self._coming >= MOST_AT_ONCE:
                raise WeldsimError("other files are coming in: try again in a moment")
            there = self.listed()
            most = MOST_CLIPS if kind == "clip" else MOST_KEPT
            if sum(m.kind == kind for m in there) >= most:
                raise WeldsimError(f"{most} {kind}s are kept already: take some off the list first")
            folder = self.folder / secrets.token_hex(8)
            try:
                folder.mkdir(parents=True)
                free = shutil.disk_usage(folder).free
            except OSError as error:
                raise StoreError(f"{FOLDER}: could not be made: {error.strerror}") from None
            if free < LEFT_FREE:
                shutil.rmtree(folder, ignore_errors=True)
                raise WeldsimError("the disk is nearly full: nothing more is taken in")
            self._coming += 1
            return folder

    def end(self, folder: Path, kept: Measured | None) -> None:
        """Keep what came in, or take its folder away.

        Parameters
        ----------
        folder : Path
            From `begin`.
        kept : Measured or None
            None where it did not come whole.
        """
        with self._lock:
            self._coming -= 1
        if kept is None:
            shutil.rmtree(folder, ignore_errors=True)
        else:
            self.put(kept)

    def put(self, measured: Measured) -> Measured:
        """Write what is known of one.

        Parameters
        ----------
        measured : Measured
            As it is now.

        Returns
        -------
        Measured
            The same.
        """
        write_json(self.folder / measured.id / ABOUT, asdict(measured))
        return measured

    def listed(self) -> list[Measured]:
        """All that came whole, newest first.

        Returns
        -------
        list of Measured
            What is damaged or not ours is left out and left alone.
        """
        try:
            found = [self._read(path) for path in self.folder.iterdir()]
        except OSError:  # none yet
            return []
        return sorted((m for m in found if m is not None), key=lambda m: -m.made)

    def get(self, id: object) -> Measured:
        """One of them; refused where there is none.

        Parameters
        ----------
        id : object
            As a request brings it.

        Returns
        -------
        Measured
            As it is now.
        """
        known = isinstance(id, str) and ID.fullmatch(id)
        found = self._read(self.folder / str(id)) if known else None
        if found is None:
            raise WeldsimError("no such measurement")
        return found

    def table(self, id: object) -> Path:
        """The readings of one; refused where a clip is not read yet.

        Parameters
        ----------
        id : object
            As a request brings it.

        Returns
        -------
        Path
            A table as text.
        """
        found = self.get(id)
        if not found.table:
            raise WeldsimError(f"{found.name}: the film is not read yet")
        return self.folder / found.id / found.table

    def with_table(self, id: str, found: dict[str, Any]) -> Measured:
        """Note that a clip was read.

        Parameters
        ----------
        id : str
            Of a clip.
        found : dict
            What was read from it: `words`, `gauge` and `rest`.

        Returns
        -------
        Measured
            With its readings.
        """
        clip = self.get(id)
        read = {"words": tuple(found["words"]), "rest": tuple(found["rest"])}
        table = f"{plain_name(clip.name)}.csv"
        return self.put(replace(clip, table=table, gauge=found["gauge"], **read))

    def remove(self, id: str) -> None:
        """Take one off the disk.

        Parameters
        ----------
        id : str
            Of a measurement.
        """
        shutil.rmtree(self.folder / self.get(id).id, ignore_errors=True)

    def _read(self, folder: Path) -> Measured | None:
        if not ID.fullmatch(folder.name) or not (folder / ABOUT).is_file():
            return None
        try:
            raw = read_json_file(folder / ABOUT)
            kept = {f.name: raw[f.name] for f in fields(Measured) if f.name in raw}
            words, rest = map(str, kept.get("words", ())), map(float, kept.get("rest", ()))
            found = Measured(**{**kept, "words": tuple(words), "rest": tuple(rest)})
            texts = (found.name, found.kind, found.owner, found.table, found.gauge)
            sound = all(isinstance(t, str) for t in texts) and isinstance(found.made, (int, float))
        except (StoreError, AttributeError, TypeError, ValueError):
            return None
        ours = found.id == folder.name and found.kind in KINDS if sound else False
        plain = re.fullmatch(r"([A-Za-z0-9-]+\.csv)?", found.table) if ours else None
        return found if plain is not None else None


def new_measured(folder: Path, kind: str, name: str, owner: str) -> Measured:
    """What is known of a file that came in whole.

    Parameters
    ----------
    folder : Path
        From `MeasuredStore.begin`.
    kind, name, owner : str
        See `Measured`.

    Returns
    -------
    Measured
        A table's readings are the file itself.
    """
    shown = re.sub(r"[\x00-\x1f\x7f]", "", name)[:80] or "readings"
    table = f"{plain_name(name)}.csv" if kind == "table" else ""
    return Measured(folder.name, shown, kind, owner, time.time(), table)


def as_json(measured: Measured, me: str) -> dict:
    """A measurement as the page lists it.

    Parameters
    ----------
    measured : Measured
    me : str
        The browser that asks.

    Returns
    -------
    dict
        Of plain values.
    """
    found = json.loads(json.dumps(asdict(measured)))
    found.pop("owner")
    return {**found, "mine": measured.owner == me, "read": bool(measured.table)}
