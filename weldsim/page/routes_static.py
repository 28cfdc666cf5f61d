"""Addresses of the page itself: its files and those of the shared 3-D view."""

from __future__ import annotations

from importlib.resources import files

from starlette.responses import Response

from weldsim.page.bench import Asked, Bench, refusal
from weldsim.report.viewer import viewer_parts

STATIC = {
    "index.html": "text/html; charset=utf-8", "page.css": "text/css; charset=utf-8",
    "page.js": "text/javascript; charset=utf-8", "tools.js": "text/javascript; charset=utf-8",
    "draft.js": "text/javascript; charset=utf-8", "part.js": "text/javascript; charset=utf-8",
    "setup.js": "text/javascript; charset=utf-8", "watch.js": "text/javascript; charset=utf-8",
    "icons.js": "text/javascript; charset=utf-8", "fields.js": "text/javascript; charset=utf-8",
}  # fmt: skip
REVALIDATED = {"cache-control": "no-cache"}


def index(bench: Bench, asked: Asked) -> Response:
    """The page."""
    return _static("index.html")


def static(bench: Bench, asked: Asked) -> Response:
    """A script or style of the page."""
    return _static(asked.path["name"])


def _static(name: str) -> Response:
    if name not in STATIC:
        return refusal("no such file", 404)
    text = (files("weldsim") / "page" / "static" / name).read_text(encoding="utf-8")
    return Response(text, media_type=STATIC[name], headers=REVALIDATED)


def view_file(bench: Bench, asked: Asked) -> Response:
    """Scripts and style of the shared 3-D view."""
    scripts, style = viewer_parts()
    found = {**dict(scripts), "viewer.css": style}
    name = asked.path["name"]
    if name not in found:
        return refusal("no such file", 404)
    kind = "text/css" if name.endswith(".css") else "text/javascript"
    return Response(found[name], media_type=f"{kind}; charset=utf-8", headers=REVALIDATED)
