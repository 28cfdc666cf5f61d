"""What a person sees while a verb computes or draws."""

from __future__ import annotations

import sys
from contextlib import suppress

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn


class ProgressBar:
    """A bar with time left on a terminal; a line every tenth elsewhere. Both on stderr."""

    def __enter__(self):
        self._last, self._bar = -1, None
        console = Console(stderr=True)
        if console.is_terminal:
            self._bar = Progress(
                TextColumn("{task.description:<28}"),
                BarColumn(),
                TextColumn("{task.percentage:3.0f} %"),
                TimeRemainingColumn(),
                console=console,
            )
            self._bar.start()
            self._task = self._bar.add_task("starting", total=1.0)
        return self.tell

    def tell(self, share: float, text: str) -> None:
        """Show that `share` of the work is done, 0 to 1, and what is being done."""
        if self._bar is not None:
            self._bar.update(self._task, completed=share, description=text)
        elif int(10 * share) > self._last:
            self._last = int(10 * share)
            with suppress(OSError):  # nobody reads it any more: no reason to end what is computed
                print(f"{100 * share:3.0f} %  {text}", file=sys.stderr, flush=True)

    def __exit__(self, *error):
        if self._bar is not None:
            self._bar.stop()
