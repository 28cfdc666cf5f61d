"""Who may ask this page for what: hosts, origins, the LAN key, sizes, and what a browser may do.

The page listens on this machine alone unless it is told otherwise. Other web sites must not reach
it through the browser of the person who runs it: a foreign Host (DNS rebinding) or Origin (forged
requests) is refused, and what changes something has to be JSON with a header no form can send.

The host is checked here and not by Starlette's TrustedHostMiddleware, which looks at the name and
not at the port: a page of another program on this machine would be let in.
"""

from __future__ import annotations

import asyncio
import hmac
import secrets
import time
from collections.abc import Mapping
from dataclasses import dataclass

from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection
from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOCAL = ("127.0.0.1", "localhost", "::1")
MOST_BYTES = 300_000  # of a request; a case file has a few thousand
# what brings a file as it is, address -> most bytes; no form of another site can send this type
UPLOADS = {"/api/measured/table": 64 * 2**20, "/api/measured/clip": 300 * 2**20}
STALL_LIMIT, BODY_LIMIT = 20.0, 60.0  # s for the next piece of a body, and for all of it
CLOSE = {"connection": "close"}
FILE_TYPE = "application/octet-stream"
COOKIE_AGE = 30 * 24 * 3600  # s
KEY, ME = "weldsim_key", "weldsim_me"  # cookies: the LAN key, and whose jobs are whose
MARK = "x-weldsim"
CHANGING = ("POST", "PUT", "PATCH", "DELETE")
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",  # the address may hold the key
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "x-frame-options": "DENY",
}


def new_key() -> str:
    """A key for the LAN that nobody guesses.

    Returns
    -------
    str
        32 letters of a URL.
    """
    return secrets.token_urlsafe(24)


def same(a: str, b: str) -> bool:
    """Whether two texts are equal, in a time that does not tell where they differ.

    Parameters
    ----------
    a, b : str
        Any letters.

    Returns
    -------
    bool
        True where they are equal.
    """
    return hmac.compare_digest(a.encode(), b.encode())


@dataclass(frozen=True)
class Door:
    """What is let in.

    Attributes
    ----------
    hosts : tuple of str
        Names and addresses this page answers to, without port.
    port : int
        The port it listens on.
    key : str or None
        For the LAN; None on this machine alone.
    """

    hosts: tuple[str, ...]
    port: int
    key: str | None = None

    @property
    def addresses(self) -> set[str]:
        """Host headers that are let in."""
        names = {f"[{h.lower()}]" if ":" in h else h.lower() for h in self.hosts}
        return {f"{n}:{self.port}" for n in names} | (names if self.port == 80 else set())

    def refuses(
        self, method: str, path: str, headers: Mapping[str, str], key: str
    ) -> tuple[int, str] | None:
        """Status and sentence of a refusal; None for what may come in.

        Parameters
        ----------
        method, path : str
            Of the request.
        headers : mapping of str to str
            Names in small letters, or a mapping that does not mind.
        key : str
            The LAN key the request brings, "" without.

        Returns
        -------
        tuple of int and str, or None
            Status of HTTP and sentence.
        """
        if self.key is not None and not same(key, self.key):  # strangers learn nothing else
            return 403, "open this page with the whole address that weldsim serve printed"
        if headers.get("host", "").lower() not in self.addresses:
            return 421, "this page does not answer to that host"
        origin = headers.get("origin")
        if origin is not None and origin.lower() not in {f"http://{a}" for a in self.addresses}:
            return 403, "requests from other sites are refused"
        site = headers.get("sec-fetch-site", "none")
        if path != "/" and site not in ("same-origin", "none"):
            return 403, "requests from other sites are refused"
        if method in CHANGING:
            kind, file = headers.get("content-type", "").split(";")[0].strip(), path in UPLOADS
            if kind != (FILE_TYPE if file else "application/json"):
                if file:
                    return 415, f"requests that bring a file are {FILE_TYPE}"
                return 415, "requests that change something are JSON"
            if MARK not in headers:
                return 403, "requests that change something come from the page itself"
        return None


class Guard:
    """ASGI layer: lets in what `Door` does, cuts what is too large, adds headers and cookies.

    Parameters
    ----------
    app : ASGI application
        What lies behind the door.
    door : Door
        Who is let in.

    Attributes
    ----------
    stall_limit, body_limit : float
        Longest wait for the next piece of a body, and for all of one that is no file. [s]
    """

    stall_limit, body_limit = STALL_LIMIT, BODY_LIMIT

    def __init__(self, app: ASGIApp, door: Door):
        self.app, self.door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            return await self.app(scope, receive, send)
        if scope["type"] != "http":
            return await send({"type": "websocket.close", "code": 1008})
        answer, new = self._answered(HTTPConnection(scope), scope)
        if answer is None:
            most = UPLOADS.get(scope["path"], MOST_BYTES)
            whole = float("inf") if scope["path"] in UPLOADS else self.body_limit
            read = _limited(receive, most, self.stall_limit, whole)
            return await self.app(scope, read, _dressed(send, new))
        await answer(scope, receive, _dressed(send, {}))

    def _answered(self, request: HTTPConnection, scope: Scope) -> tuple[Response | None, dict]:
        """An answer at the door, None for what may come in; and cookies to be set."""
        asked = request.query_params.get("key", "")
        first = scope["path"] == "/" and bool(asked)
        key = asked if first else request.cookies.get(KEY, "")
        refused = self.door.refuses(scope["method"], scope["path"], request.headers, key)
        if refused:
            status, text = refused
            return _said(status, text, over=True), {}
        most = UPLOADS.get(scope["path"], MOST_BYTES)
        try:
            if int(request.headers.get("content-length", "0")) > most:
                return _said(413, f"this may have at most {most} bytes", over=True), {}
        except ValueError:
            return _said(400, "no such length"), {}
        if first and self.door.key:  # keep the key in a cookie and out of the address
            response = Response(status_code=303, headers={"location": "/"})
            _set_cookie(response, KEY, self.door.key)
            return response, {}
        me = request.cookies.get(ME, "")
        known = len(me) == 32 and me.isalnum()
        scope["me"] = me if known else secrets.token_hex(16)
        return None, {} if known else {ME: scope["me"]}


def _limited(receive: Receive, most: int, stall: float, whole: float) -> Receive:
    """The same request, refused where its body grows too large or takes too long to come.

    Parameters
    ----------
    receive : callable
        Of ASGI.
    most : int
        Bytes of the body.
    stall, whole : float
        Longest wait for the next piece, and for all of it. [s]
    """
    got, until, complete = 0, time.monotonic() + whole, False

    async def read() -> Message:
        nonlocal got, complete
        if complete:  # what is waited for now is the end of the connection
            return await receive()
        try:
            async with asyncio.timeout(max(min(stall, until - time.monotonic()), 0.0)):
                message = await receive()
        except TimeoutError:
            raise HTTPException(408, "the request did not come in whole", CLOSE) from None
        got += len(message.get("body", b""))
        complete = not message.get("more_body", False)
        return {"type": "http.disconnect"} if got > most else message

    return read


def _dressed(send: Send, cookies: dict[str, str]) -> Send:
    """Answers with the headers a browser is to heed."""

    async def write(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in {**HEADERS, "cache-control": "no-store"}.items():
                headers.setdefault(name, value)
            for name, value in cookies.items():
                carrier = Response()
                _set_cookie(carrier, name, value)
                headers.append("set-cookie", carrier.headers["set-cookie"])
        await send(message)

    return write


def _set_cookie(response: Response, name: str, value: str) -> None:
    response.set_cookie(name, value, max_age=COOKIE_AGE, httponly=True, samesite="strict")


def _said(status: int, text: str, over: bool = False) -> Response:
    """An answer in words; `over` closes the connection, whatever else was to come over it."""
    return JSONResponse({"error": text}, status, headers=CLOSE if over else None)
