"""Films that are read beside the queue: one at a time, with progress, and they can be stopped."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Any

from weldsim.errors import WeldsimError
from weldsim.page import measured_tasks
from weldsim.page.measured_store import CLIP, Measured, MeasuredStore, plain_name
from weldsim.page.worker import Stopped, Worker

LIMIT = 1200.0  # s for one film; half an hour of film at ten readings a second has 18 000
MOST_WAITING = 4


@dataclass
class Reading:
    """One film that is read or waits for it.

    Attributes
    ----------
    share : float
        Of the film, 0 to 1.
    text, error : str
        What it is doing, or why it came to nothing.
    over : bool
        Whether it is done, well or not.
    wanted : bool
        False once somebody stopped it.
    """

    share: float = 0.0
    text: str = "waiting for the film before"
    error: str = ""
    over: bool = False
    wanted: bool = True


class Films:
    """Reads films in a process of its own.

    Parameters
    ----------
    store : MeasuredStore
        Where they lie.
    worker : Worker, optional
        The process; it starts with the first film.
    """

    def __init__(self, store: MeasuredStore, worker: Worker | None = None):
        self._store, self._worker = store, worker or Worker(1)
        self._lock, self._now = threading.Lock(), dict[str, Reading]()

    def begin(self, measured: Measured, gauge: str, options: dict[str, Any]) -> None:
        """Read a film, after those that wait.

        Parameters
        ----------
        measured : Measured
            A clip.
        gauge : str
            Name of the pointer.
        options : dict
            See `measured_tasks.film`.
        """
        with self._lock:
            now = self._now.get(measured.id)
            if now is not None and not now.over:
                raise WeldsimError(f"{measured.name}: it is being read")
            if sum(not r.over for r in self._now.values()) >= MOST_WAITING:
                raise WeldsimError("other films are being read: try again when they are done")
            reading = self._now[measured.id] = Reading()
        work = threading.Thread(
            target=self._read, args=(measured, gauge, options, reading), daemon=True
        )
        work.start()

    def _read(
        self, measured: Measured, gauge: str, options: dict[str, Any], reading: Reading
    ) -> None:
        folder = self._store.folder / measured.id
        out = folder / f"{plain_name(measured.name)}.csv"

        def tell(share: float, text: str) -> None:
            reading.share, reading.text = share, text

        try:
            found = self._worker.call(
                measured_tasks.film, str(folder / CLIP), measured.name, str(out), gauge, options,
                limit=LIMIT, tell=tell, stop=lambda: not reading.wanted,
            )  # fmt: skip
            self._store.with_table(measured.id, found)
        except Stopped:
            reading.error = "stopped"
        except (WeldsimError, OSError) as error:
            reading.error = str(error)
        except Exception as error:  # one film fails, not the page
            reading.error = f"unexpected: {type(error).__name__}: {error}"
        finally:
            reading.over = True

    def of(self, id: str) -> Reading | None:
        """How far a film is.

        Parameters
        ----------
        id : str
            Of a measurement.

        Returns
        -------
        Reading or None
            None where it was not begun since the page is up.
        """
        return self._now.get(id)

    def stop(self, id: str) -> None:
        """Read a film no further.

        Parameters
        ----------
        id : str
            Of a measurement.
        """
        if reading := self._now.get(id):
            reading.wanted = False

    def close(self) -> None:
        """End the process."""
        for reading in self._now.values():
            reading.wanted = False
        self._worker.close()
