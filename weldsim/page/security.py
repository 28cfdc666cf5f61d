"""Who may ask this page for what: hosts, origins, the LAN key, sizes, and what a browser may do.

The page listens on this machine alone unless it is told otherwise. Other web sites must not reach
it through the browser of the person who runs it: a foreign Host (DNS rebinding) or Origin (forged
requests) is refused, and what changes something has to be JSON with a header no form can send.
"""

from __future__ import annotations

import hmac
import json
import secrets
from dataclasses import dataclass
from urllib.parse import parse_qs

LOCAL = ("127.0.0.1", "localhost", "::1")
MOST_BYTES = 300_000  # of a request; a case file has a few thousand
KEY, ME = "weldsim_key", "weldsim_me"  # cookies: the LAN key, and whose jobs are whose
MARK = b"x-weldsim"
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
    """A key for the LAN that nobody guesses."""
    return secrets.token_urlsafe(24)


def same(a: str, b: str) -> bool:
    """Whether two texts are equal, in a time that does not tell where they differ."""
    return hmac.compare_digest(a.encode(), b.encode())


@dataclass(frozen=True)
class Door:
    """What is let in.

    Attributes
    ----------
    hosts : names and addresses this page answers to, without port
    port : the port it listens on
    key : for the LAN; None on this machine alone
    """

    hosts: tuple[str, ...]
    port: int
    key: str | None = None

    @property
    def addresses(self) -> set[str]:
        """Host headers that are let in."""
        names = {f"[{h.lower()}]" if ":" in h else h.lower() for h in self.hosts}
        return {f"{n}:{self.port}" for n in names} | (names if self.port == 80 else set())

    def refuses(self, method: str, path: str, headers: dict, key: str) -> tuple[int, str] | None:
        """Status and sentence of a refusal; None for what may come in.

        Parameters
        ----------
        headers : dict of str to str
            In small letters.
        key : str
            The LAN key the request brings, "" without.
        """
        if headers.get("host", "").lower() not in self.addresses:
            return 421, "this page does not answer to that host"
        if self.key is not None and not same(key, self.key):
            return 403, "open this page with the whole address that weldsim serve printed"
        origin = headers.get("origin")
        if origin is not None and origin.lower() not in {f"http://{a}" for a in self.addresses}:
            return 403, "requests from other sites are refused"
        site = headers.get("sec-fetch-site", "none")
        if path != "/" and site not in ("same-origin", "none"):
            return 403, "requests from other sites are refused"
        if method in CHANGING:
            if headers.get("content-type", "").split(";")[0].strip() != "application/json":
                return 415, "requests that change something are JSON"
            if MARK.decode() not in headers:
                return 403, "requests that change something come from the page itself"
        return None


class Guard:
    """ASGI layer: lets in what `Door` does, cuts what is too large, adds headers and cookies."""

    def __init__(self, app, door: Door):
        self.app, self.door = app, door

    async def __call__(self, scope, receive, send):
        if scope["type"] == "lifespan":
            return await self.app(scope, receive, send)
        if scope["type"] != "http":
            return await send({"type": "websocket.close", "code": 1008})
        headers = {k.decode("latin-1").lower(): v.decode("latin-1") for k, v in scope["headers"]}
        cookies = _cookies(headers.get("cookie", ""))
        asked = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("key", [""])[0]
        first = scope["path"] == "/" and bool(asked)
        key = asked if first else cookies.get(KEY, "")
        refused = self.door.refuses(scope["method"], scope["path"], headers, key)
        if refused:
            return await _say(send, *refused)
        try:
            if int(headers.get("content-length", "0")) > MOST_BYTES:
                return await _say(send, 413, f"a request has at most {MOST_BYTES} bytes")
        except ValueError:
            return await _say(send, 400, "no such length")
        me = cookies.get(ME, "")
        new = [] if len(me) == 32 and me.isalnum() else [_cookie(ME, me := secrets.token_hex(16))]
        if first and self.door.key:  # keep the key in a cookie and out of the address
            to = {"location": "/", "set-cookie": _cookie(KEY, self.door.key)}
            return await _say(send, 303, "", to)
        scope["me"] = me
        await self.app(scope, _limited(receive), _dressed(send, new))


def _limited(receive):
    """The same request, cut off where its body grows too large whatever it said before."""
    got = 0

    async def read():
        nonlocal got
        message = await receive()
        got += len(message.get("body", b""))
        return {"type": "http.disconnect"} if got > MOST_BYTES else message

    return read


def _dressed(send, cookies):
    """Answers with the headers a browser is to heed."""

    async def write(message):
        if message["type"] == "http.response.start":
            had = {k.lower() for k, _ in message["headers"]}
            extra = [(k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in had]
            extra += [(b"set-cookie", c.encode()) for c in cookies]
            if b"cache-control" not in had:
                extra.append((b"cache-control", b"no-store"))
            message = {**message, "headers": [*message["headers"], *extra]}
        await send(message)

    return write


def _cookies(text: str) -> dict[str, str]:
    """Cookies by name. Those of other servers on this host come along, in whatever writing."""
    pairs = (piece.partition("=") for piece in text.split(";"))
    return {name.strip(): value.strip() for name, sign, value in pairs if sign}


def _cookie(name: str, value: str) -> str:
    return f"{name}={value}; Path=/; HttpOnly; SameSite=Strict; Max-Age=2592000"


async def _say(send, status: int, text: str, headers=None) -> None:
    body = json.dumps({"error": text}).encode()
    head = {"content-type": "application/json", **HEADERS, "cache-control": "no-store"}
    lines = [(k.encode(), v.encode()) for k, v in {**head, **(headers or {})}.items()]
    await send({"type": "http.response.start", "status": status, "headers": lines})
    await send({"type": "http.response.body", "body": body})
