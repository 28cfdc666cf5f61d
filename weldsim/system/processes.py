"""Processes that belong to another one and end with it."""

from __future__ import annotations

import multiprocessing
import os
import threading


def end_with_parent() -> None:
    """Let this worker process end when the one that started it is gone, however that ended.

    To be called in a process that `multiprocessing` started. A pool tells its workers to end; one
    that was killed tells them nothing, and they would wait for work for ever.
    """
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_wait_and_end, args=(parent,), daemon=True).start()


def _wait_and_end(parent: multiprocessing.process.BaseProcess) -> None:
    parent.join()
    os._exit(1)
