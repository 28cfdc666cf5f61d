"""A headless Chromium for tests of pages: found, opened, watched, pictured.

Two things are needed: the browser (Debian package `chromium`, or a path in the environment
variable WELDSIM_CHROMIUM) and the Python package `playwright`, which drives it and whose own
browser is not used. Without either, tests skip and say what is missing.

    with browser.page("report.html", size=browser.DESKTOP) as (page, heard):
        page.click("text=Play")
    assert heard.errors == [] and heard.outside == []
"""

import os
import shutil
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

DESKTOP, TABLET = (1366, 768), (820, 1180)
NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
# software rendering, so that a machine without a graphics card draws WebGL too
SWITCHES = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
            "--disable-background-networking", "--disable-component-update"]  # fmt: skip


@dataclass
class Heard:
    """What a page said and asked for: console errors and exceptions, addresses off the page."""

    errors: list[str] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)


def find_chromium() -> str | None:
    """Path of a Chromium on this machine; None without one."""
    named = os.environ.get("WELDSIM_CHROMIUM")
    if named:
        return named if Path(named).exists() else None
    return next((found for name in NAMES if (found := shutil.which(name))), None)


def why_not() -> str | None:
    """What is missing for browser tests in one line; None if nothing is."""
    try:
        import playwright.sync_api  # noqa: F401
    except ImportError:
        return "no browser tests: the Python package playwright is not installed"
    if find_chromium() is None:
        return "no browser tests: no Chromium found (install it, or set WELDSIM_CHROMIUM)"
    return None


def need_browser() -> None:
    """Skip the test that calls this where no browser can be driven."""
    missing = why_not()
    if missing:
        pytest.skip(missing)


@contextmanager
def page(address, size=DESKTOP, allowed: str | None = None, offline: bool = True):
    """Open a file or an address; gives the playwright page and what is heard of it.

    Parameters
    ----------
    address : path or str
        A file, or an address beginning with http.
    size : (int, int)
        Of the window. [pixel]
    allowed : str, optional
        Beginning of addresses the page may ask for, such as "http://127.0.0.1:8000/".
    offline : bool
        Cut the network; leave it on for a page that a local server gives.
    """
    need_browser()
    from playwright.sync_api import sync_playwright

    address = str(address)
    if not address.startswith("http"):
        address = Path(address).resolve().as_uri()
    heard = Heard()
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=find_chromium(), args=SWITCHES)
        try:
            context = browser.new_context(
                viewport={"width": size[0], "height": size[1]}, offline=offline
            )
            tab = context.new_page()
            tab.on("console", lambda m: heard.errors.append(m.text) if m.type == "error" else None)
            tab.on("pageerror", lambda e: heard.errors.append(str(e)))
            tab.on("request", lambda r: _note(heard, r.url, address, allowed))
            tab.goto(address)
            yield tab, heard
        finally:
            browser.close()


def _note(heard: Heard, url: str, address: str, allowed: str | None) -> None:
    own = (
        url == address
        or url.startswith(("data:", "blob:"))
        or (allowed and url.startswith(allowed))
    )
    if not own:
        heard.outside.append(url)
