"""How long a connection may dawdle, and how many of them one client may hold.

Whoever connects and says nothing, or one letter a minute, takes up a file of this process for ever;
a thousand of them shut everybody out. So the head of a request has to come within a time, a client
has a few dozen connections and all clients together no more than the system lends.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any

from uvicorn.protocols.http.auto import AutoHTTPProtocol

HEAD_LIMIT = 10.0  # s for the head of a request, from the connection or its first letter on
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
    head_limit = HEAD_LIMIT
    _client: str | None = None
    _timer: asyncio.TimerHandle | None = None

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
        if self._client is not None:
            self.doorman.leave(self._client)
            self._client = None
        super().connection_lost(exc)

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


def limited_protocol(doorman: Doorman | None = None, head_limit: float = HEAD_LIMIT) -> type:
    """uvicorn's protocol of a connection, with the limits above.

    Parameters
    ----------
    doorman : Doorman, optional
        A new one when left out.
    head_limit : float, optional
        For the head of a request. [s]

    Returns
    -------
    type
        For `uvicorn.Config(http=...)`.
    """
    own = {"doorman": doorman or Doorman(MOST_EACH, most_connections()), "head_limit": head_limit}
    return type("Limited", (Limited,), own)
