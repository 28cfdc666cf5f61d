"""Measurements in a real browser: a table and a film brought, a fit followed, a shop kept and used.

Readings are made by a run of the same case, so that what is fitted can be known beforehand. Set
WELDSIM_SHOTS to a folder to keep pictures.
"""

import os
import shutil
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

from tests import browser
from tests.page.kit import free_port, when_up
from tests.page.test_browser import WAIT

pytestmark = pytest.mark.slow
SIZES = {"desk": (1440, 900), "phone": (390, 844)}
TRUE_EFFICIENCY = 0.62
CASE = {
    "solve": {"model": "plastic", "grade": "sketch", "end": "120 s", "error_estimate": False},
    "gauge": [
        {"name": "pointer", "kind": "pointer", "at": "free end", "aim": "+x", "up": "+z",
         "throw": "4 m"},
        {"name": "near", "kind": "thermocouple", "at": ["95 mm", "-4 mm", "0 mm"]},
    ],
}  # fmt: skip


def at_all_sizes(page, name):
    """Nothing to push aside at any size; pictures where they are asked for."""
    for word, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(150)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, (name, word)
        if folder := os.environ.get("WELDSIM_SHOTS"):
            page.screenshot(path=str(Path(folder) / f"{name}_{word}.png"), full_page=True)
    page.set_viewport_size(dict(zip(("width", "height"), SIZES["desk"], strict=True)))


def made_clip(path):
    """A spot that creeps 20 mm up in three seconds, on an A4 sheet seen a little askew."""
    import numpy as np

    from tests.measurements.made_clips import made_frames, write_clip
    from weldsim.measurements.target_sheet import PAPERS

    times = np.arange(0.0, 3.0, 0.1)
    frames = made_frames(
        PAPERS["A4"].sheet, lambda t: (0.0, 0.02 * min(1.0, max(0.0, t - 1.2))), times,
        np.random.default_rng(3), tilt=0.05,
    )  # fmt: skip
    return write_clip(path, times, frames)


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A work folder with a run, and what a shop of another arc efficiency would have measured."""
    import numpy as np

    import weldsim

    browser.need_browser()
    pytest.importorskip("cv2")
    pytest.importorskip("av")
    place = tmp_path_factory.mktemp("bench")
    work = place / "work"
    work.mkdir()
    text = (files("weldsim") / "data" / "starters" / "bar.toml").read_text()
    text = text.replace('title = "My bar"', 'title = "Pivot arm"')
    text = text.replace('end = "cold"', 'end = "150 s"').replace('"normal"  ', '"sketch"  ')
    (place / "pivot_arm.toml").write_text(text)
    weldsim.run(weldsim.load_case(place / "pivot_arm.toml"), work / "pivot arm")
    shutil.copytree(work / "pivot arm", work / "second arm")
    told = {"weld.A.efficiency": TRUE_EFFICIENCY, "weld.B.efficiency": TRUE_EFFICIENCY}
    true = weldsim.solve(weldsim.load_case(place / "pivot_arm.toml", told)).gauges
    rng = np.random.default_rng(5)
    at = np.arange(0.0, 148.0, 2.0)
    up, right = (
        np.interp(at, true.times, 1e3 * true["pointer", side, "mm"]) for side in ("up", "right")
    )
    noise = rng.normal(0.0, 0.3, (2, len(at)))  # mm; a spot is read no better on paper
    rows = zip(at + 4.0, up + noise[0], right + noise[1], strict=True)  # its clock is 4 s ahead
    lines = ["time_s,spot up [mm],pointer_right_mm", *(f"{t},{u:.2f},{r:.2f}" for t, u, r in rows)]
    (place / "monday.csv").write_text("\n".join(lines) + "\n")
    made_clip(place / "bead A.mp4")
    return place


@pytest.fixture(scope="module")
def address(bench):
    """A page over that work folder, served by a process of its own."""
    port = free_port()
    start = (
        "from weldsim.page.app import serve; "
        f"serve(port={port}, work={str(bench / 'work')!r}, open_browser=False)"
    )
    server = subprocess.Popen([sys.executable, "-c", start], cwd=bench)
    try:
        yield when_up(f"http://127.0.0.1:{port}/")
    finally:
        server.terminate()
        server.wait(30)


def test_from_a_table_to_a_calibrated_shop(bench, address):
    with browser.page(address, SIZES["desk"], allowed=address, offline=False) as (page, heard):
        page.set_default_timeout(WAIT)
        page.click("nav a[data-step=measured]")
        page.wait_for_selector(".fit-form")
        page.set_input_files("#bring", bench / "monday.csv")

        # a name of the bench is refused beside its column, and mapped there
        page.wait_for_selector(".table-form td .mistake:has-text('spot up')")
        at_all_sizes(page, "measured_refused")
        page.get_by_label("column spot up [mm] is").select_option("pointer_up_mm")
        page.wait_for_selector(".curve[data-key=pointer_up_mm]")
        assert page.locator(".curve").count() == 2
        assert "computed ends at" in page.locator(".curve svg").first.get_attribute("aria-label")
        page.get_by_label("clock ahead of the run's, s").fill("4")
        page.click(".units >> text=in")
        page.wait_for_selector(".curve figcaption:has-text('pointer up, in against s')")
        page.click(".units >> text=mm")

        # a film of the light spot, over the same curve
        page.set_input_files("#bring", bench / "bead A.mp4")
        page.get_by_role("button", name="Read the film", exact=True).click()
        page.wait_for_selector(".film-form li:has-text('frames used')")
        page.wait_for_selector(".curve .key li:has-text('bead A.mp4')")
        at_all_sizes(page, "measured")
        page.locator(".brought li", has_text="bead A.mp4").locator("input").first.uncheck()

        # one value is learnt
        for box in page.locator("[data-vary]").all():
            box.set_checked(box.get_attribute("data-vary") == "arc.efficiency")
        # a table of another part belongs to its own run: both are fitted together where it is used
        page.get_by_label("grade of the runs").select_option("sketch")
        owner = page.locator(".brought li", has_text="monday.csv").locator("select[id^=of-]")
        assert owner.locator("option").count() == 2
        page.get_by_label("a few runs finer").select_option("none")
        page.wait_for_selector(".fit-form .cost:has-text('for 15 runs')")
        page.get_by_label("lowest arc efficiency").fill("0.99")
        page.get_by_role("button", name="Start the fit").click()
        page.wait_for_selector(".fit-form .mistake:has-text('must be below')")
        page.get_by_label("lowest arc efficiency").fill("0.5")
        page.get_by_role("button", name="Start the fit").click()
        page.wait_for_selector("h1:has-text('Fit to measurements')")
        page.wait_for_selector("h2:has-text('What was learnt')")
        row = page.locator("[data-key=values] tbody tr").first.locator("td")
        low, high = map(float, row.nth(1).inner_text().split(" to "))
        assert low - 0.01 <= TRUE_EFFICIENCY <= high + 0.01 and high - low < 0.2
        at_all_sizes(page, "fitted")

        # kept, and named in a set-up
        page.get_by_label("name", exact=True).fill("Bay 2")
        page.get_by_role("button", name="Keep the shop").click()
        page.wait_for_selector("text=Kept as bay-2")
        page.click("nav a[data-step=start]")
        page.click(".joint:has-text('flat bar')")
        page.wait_for_selector(".seam")
        page.click("nav a[data-step=measured]")
        page.get_by_role("button", name="Put it into the set-up: bay-2").click()
        page.wait_for_selector(".kept-shop:has-text('bay-2')")
        page.wait_for_selector(".meaning .lines li:has-text('flat bar')", state="attached")
        at_all_sizes(page, "setup_with_shop")
        refused = [e for e in heard.errors if "409" in e]  # the bounds that were wrong, once
        assert len(refused) == 1 and heard.errors == refused and heard.outside == []
