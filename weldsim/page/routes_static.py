"""Addresses of the page itself: its files and those of the shared 3-D view."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import PurePath

from starlette.responses import Response

from weldsim.page.bench import Asked, Bench, refusal
from weldsim.report.viewer import viewer_parts
from weldsim.system.palette import css

KINDS = {".html": "text/html", ".css": "text/css", ".js": "text/javascript"}
REVALIDATED = {"cache-control": "no-cache"}


def index(bench: Bench, asked: Asked) -> Response:
    """The page."""
    return _static("index.html")


def static(bench: Bench, asked: Asked) -> Response:
    """A script or style of the page."""
    return _static(asked.path["name"])


def _static(name: str) -> Response:
    if name == "palette.css":
        return Response(css(), media_type="text/css; charset=utf-8", headers=REVALIDATED)
    if name not in static_names():
        return refusal("no such file", 404)
    text = (files("weldsim") / "page" / "static" / name).read_text(encoding="utf-8")
    kind = f"{KINDS[PurePath(name).suffix]}; charset=utf-8"
    return Response(text, media_type=kind, headers=REVALIDATED)


@cache
def static_names() -> frozenset[str]:
    """Files that can be asked for: those that lie there, so that no name leads elsewhere.

    Returns
    -------
    frozenset of str
        Names without a folder.
    """
    listed = (entry.name for entry in (files("weldsim") / "page" / "static").iterdir())
    return frozenset(name for name in listed if PurePath(name).suffix in KINDS)


def view_file(bench: Bench, asked: Asked) -> Response:
    """Scripts and style of the shared 3-D view."""
    scripts, style = viewer_parts()
    found = {**dict(scripts), "viewer.css": style}
    name = asked.path["name"]
    if name not in found:
        return refusal("no such file", 404)
    kind = "text/css" if name.endswith(".css") else "text/javascript"
    return Response(found[name], media_type=f"{kind}; charset=utf-8", headers=REVALIDATED)
