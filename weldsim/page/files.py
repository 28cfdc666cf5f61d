"""Files that a browser saves or shows in a tab: their names, and what they may do there."""

from __future__ import annotations

import re
import unicodedata
from urllib.parse import quote

from starlette.responses import Response

LONGEST = 60  # letters of a title in a file name
# A report brings its scripts with it and says by their hashes which may run. It is shown with an
# origin of its own, so that it can ask this page for nothing.
SHOWN = {
    "content-security-policy": "sandbox allow-scripts allow-popups allow-downloads allow-modals; "
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data: blob:"
}
HTML = "text/html"


def file_stem(title: str, other: str = "run") -> str:
    """The beginning of a file name, after a title.

    Parameters
    ----------
    title : str
        Of a case; any letters.
    other : str, optional
        What to take where nothing of the title can stand in a file name.

    Returns
    -------
    str
        Letters, digits and dashes.
    """
    plain = unicodedata.normalize("NFC", title).lower()
    return re.sub(r"[^\w]+", "-", plain).strip("-_")[:LONGEST].rstrip("-_") or other


def file_response(data: bytes, name: str, kind: str, shown: bool = False) -> Response:
    """A file for a browser to save, or to show in a tab.

    Parameters
    ----------
    data : bytes
    name : str
        Under which it is saved.
    kind : str
        Media type.
    shown : bool, optional
        Shown in a tab.

    Returns
    -------
    Response
    """
    plain = name.encode("ascii", "ignore").decode()
    how = "inline" if shown else "attachment"
    disposition = f"{how}; filename=\"{plain}\"; filename*=UTF-8''{quote(name)}"
    headers = {"content-disposition": disposition}
    if shown and kind.startswith((HTML, "image/svg")):
        headers |= SHOWN
    return Response(data, media_type=kind, headers=headers)
