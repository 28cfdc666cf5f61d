"""How long a connection may dawdle, and how many of them one client may hold.

Whoever connects and says nothing, or one letter a minute, takes up a file of this process for ever;
a thousand of them shut everybody out; whoever asks for a film and reads none of it holds its memory
as well. So the head of a request has to come within a time, an answer has to be taken, however
slowly, a client has a few dozen connections and all clients together no more than the system lends.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any

from uvicorn.protocols.http.auto import AutoHTTPProtocol

HEAD_LIMIT = 10.0  # s for the head of a request, from the connection or its first letter on
TAKE_LIMIT = 20.0  # s in which a client that has an answer waiting takes none of it
MOST_EACH = 64  # connections of one client; a browser holds six to a page
MOST_SHARE = 0.5  # of the files this process may open
MOST = 400  # connections where the system does not tell


def most_connections() -> int:
    """Connections that are taken in at a time.

    Returns
    -------
    int
        Half of the files that this process may open: runs and readers need some too.
    """
    try:
        import resource
    except ImportError:
        return MOST
    soft = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    return min(MOST, int(MOST_SHARE * soft)) if soft > 0 else MOST


class Doorman:
    """Counts connections by client.

    Parameters
    ----------
    each, most : int
        Of one client, and of all.
    """

    def __init__(self, each: int, most: int) -> None:
        self.each, self.most = each, most
        self._held: Counter[str] = Counter()

    def enter(self, client: str) -> bool:
        """Whether one more connection of a client may stay; then it is counted.

        Parameters
        ----------
        client : str
            Its address, without port.

        Returns
        -------
        bool
            False where it holds as many as it may, or all do.
        """
        if self._held[client] >= self.each or self._held.total() >= self.most:
            return False
        self._held[client] += 1
        return True

    def leave(self, client: str) -> None:
        """One connection of a client is over.

        Parameters
        ----------
        client : str
            As it entered.
        """
        self._held[client] -= 1
        if self._held[client] <= 0:
            del self._held[client]


class Limited(AutoHTTPProtocol):  # type: ignore[misc, valid-type]
    """A connection that is closed where it dawdles or is one too many; see `limited_protocol`."""

    doorman: Doorman
    head_limit, take_limit = HEAD_LIMIT, TAKE_LIMIT
    _client: str | None = None
    _timer: asyncio.TimerHandle | None = None
    _taking: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Count it, or close it at once."""
        super().connection_made(transport)
        client = str((transport.get_extra_info("peername") or ("",))[0])
        if not self.doorman.enter(client):
            transport.abort()
            return
        self._client = client
        self._watch()

    def data_received(self, data: bytes) -> None:
        """Take in what came; the clock runs until a head is whole."""
        super().data_received(data)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """No longer counted."""
        self._rest()
        self._taken()
        if self._client is not None:
            self.doorman.leave(self._client)
            self._client = None
        super().connection_lost(exc)

    def pause_writing(self) -> None:
        """More of an answer waits than is kept for a client: it has to take some now and then."""
        super().pause_writing()
        self._await_taking(self.transport.get_write_buffer_size())

    def resume_writing(self) -> None:
        """Most of what waited has been taken."""
        self._taken()
        super().resume_writing()

    def _await_taking(self, left: int) -> None:
        """Look again after a while how much is left."""
        self._taken()
        loop = asyncio.get_running_loop()
        self._taking = loop.call_later(self.take_limit, self._look, left)

    def _look(self, left: int) -> None:
        now = self.transport.get_write_buffer_size()
        if now < left:
            self._await_taking(now)
        else:
            self._taking = None
            self.transport.abort()

    def _taken(self) -> None:
        if self._taking is not None:
            self._taking.cancel()
            self._taking = None

    def _watch(self) -> None:
        """Start the clock where a head is awaited, stop it where one has come."""
        if self.cycle is not None and not self.cycle.response_complete:
            self._rest()
        elif self._timer is None:
            self._timer = asyncio.get_running_loop().call_later(self.head_limit, self._give_up)

    def _rest(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _give_up(self) -> None:
        self._timer = None
        if self.cycle is None or self.cycle.response_complete:
            self.transport.abort()


def limited_protocol(
    doorman: Doorman | None = None, head_limit: float = HEAD_LIMIT, take_limit: float = TAKE_LIMIT
) -> type:
    """uvicorn's protocol of a connection, with the limits above.

    Parameters
    ----------
    doorman : Doorman, optional
        A new one when left out.
    head_limit : float, optional
        For the head of a request. [s]
    take_limit : float, optional
        For a client to take something of an answer that waits for it. [s]

    Returns
    -------
    type
        For `uvicorn.Config(http=...)`.
    """
    own = {
        "doorman": doorman or Doorman(MOST_EACH, most_connections()),
        "head_limit": head_limit, "take_limit": take_limit,
    }  # fmt: skip
    return type("Limited", (Limited,), own)
