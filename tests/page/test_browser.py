"""The whole way through the page in a real browser: joint, mistake, order, look, run, what if.

Set WELDSIM_SHOTS to a folder to keep pictures of every step at both sizes.
"""

import json
import os
import socket
import subprocess
import sys
import time
import urllib.request
from importlib.resources import files
from pathlib import Path

import pytest

from tests import browser
from tests.page.kit import served, starter
from tests.synthetic_run import write_run
from weldsim.page import case_form

pytestmark = pytest.mark.slow
WAIT = 300_000  # ms; machines that test are busy


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """A page served by a process of its own, as `weldsim serve` does."""
    browser.need_browser()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    work = tmp_path_factory.mktemp("work")
    start = (
        "from weldsim.page.app import serve; "
        f"serve(port={port}, work={str(work)!r}, open_browser=False)"
    )
    server = subprocess.Popen([sys.executable, "-c", start], cwd=work)
    try:
        url = f"http://127.0.0.1:{port}/"
        for _ in range(200):
            try:
                urllib.request.urlopen(url, timeout=1).close()
                break
            except OSError:
                time.sleep(0.1)
        yield url
    finally:
        server.terminate()
        server.wait(30)


def shot(page, name):
    """A picture of the page as it stands, when pictures are asked for."""
    folder = os.environ.get("WELDSIM_SHOTS")
    if not folder:
        return
    for word, (width, height) in (("desk", browser.DESKTOP), ("tablet", browser.TABLET)):
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(400)
        page.screenshot(path=str(Path(folder) / f"{name}_{word}.png"))
    page.set_viewport_size(dict(zip(("width", "height"), browser.DESKTOP, strict=True)))


def no_sideways_scroll(page):
    """The page fits its width at both sizes: nothing to push aside."""
    for width, height in (browser.DESKTOP, browser.TABLET):
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(100)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.set_viewport_size(dict(zip(("width", "height"), browser.DESKTOP, strict=True)))


def small(page):
    """Sizes of a strip that is computed soon."""
    for place, value in {
        "part--length": "80", "part--width": "20", "part--thickness": "4", "weld-0-at": "40",
        "weld-1-at": "55", "weld-0-current": "90", "weld-1-current": "90", "weld-0-speed": "3",
        "weld-1-speed": "3", "weld-0-bead_width": "5", "weld-1-bead_width": "5",
        "weld-1-start": "5 s after A",
    }.items():  # fmt: skip
        page.fill(f"#f-{place}", value)
    page.click("details[data-section=solve] > summary")
    page.select_option("#f-solve--grade", "quick")
    page.select_option("#f-solve--error_estimate", "no")
    page.fill("#f-solve--end", "22 s")
    page.wait_for_selector(".cost:has-text('Compute, grade quick: about')")


def test_a_run_that_names_a_file_offers_to_be_changed(tmp_path):
    """Its case may name the file again, since the page remembers which run it came from."""
    browser.need_browser()
    tables = starter()
    tables["part"]["material"] = "my.toml"
    material = files("weldsim") / "data" / "materials" / "carbon-steel.toml"
    (tmp_path / "my.toml").write_text(material.read_text(encoding="utf-8"), encoding="utf-8")
    write_run(tmp_path / "by hand", frames=(0.0, 30.0))
    kept = {"source": case_form.form_text(tables, case_form.Base(tmp_path / "x.toml", tables)),
            "source_file": str(tmp_path / "x.toml"), "overrides": []}  # fmt: skip
    (tmp_path / "by hand" / "case.json").write_text(json.dumps(kept))
    with served(tmp_path) as url, browser.page(url, allowed=url, offline=False) as (page, heard):
        page.click("a:has-text('Invented bar')")
        page.wait_for_selector("h2:has-text('What if')")
        page.click("button:has-text('Try it side by side')")
        page.wait_for_url("**/#compare/**")
        assert not heard.errors and not heard.outside, heard


def order(page):
    return [
        (row.locator(".who").inner_text(), row.locator("select").input_value())
        for row in page.locator(".turn").all()
    ]


def test_the_whole_way(address):
    with browser.page(address, allowed=address, offline=False) as (page, heard):
        page.set_default_timeout(60_000)
        page.wait_for_selector(".joint")
        assert page.locator(".joint").count() == 9
        shot(page, "1_joint")
        no_sideways_scroll(page)
        page.click(".joint:has-text('flat bar')")
        page.wait_for_selector(".seam")
        small(page)

        # a wrong value: the message stands beside its field and nothing can be computed
        page.fill("#f-weld-1-at", "900")
        message = page.locator("#f-weld-1-at-m")
        message.wait_for(state="visible")
        assert "900 mm" in message.inner_text()
        assert page.locator("#f-weld-1-at").get_attribute("aria-invalid") == "true"
        assert page.get_by_role("button", name="Compute").is_disabled()
        shot(page, "2_mistake")
        # inches count: 2.165 in is 55 mm; the unit typed behind the number is taken
        page.fill("#f-weld-1-at", "2.165 in")
        message.wait_for(state="hidden")

        # order and travel: by button, by clicking on the part, by keyboard
        assert order(page) == [("A", "up"), ("B", "up")]
        page.get_by_role("button", name="weld B earlier").click()
        assert order(page) == [("B", "up"), ("A", "up")]
        assert page.input_value("#f-weld-1-start") == "5 s after B"  # the rule stays with its turn
        page.get_by_role("button", name="Set the sequence by clicking").click()
        page.locator(".seam[data-seam=A]").press("Enter")
        page.locator(".seam[data-seam=B]").press("Enter")
        assert order(page) == [("A", "up"), ("B", "up")]
        page.wait_for_selector(".seam[data-seam=B]")
        page.locator(".seam[data-seam=B] .ball").click()
        assert order(page) == [("A", "up"), ("B", "down")]
        page.wait_for_selector(".cost:has-text('Compute, grade')")
        page.wait_for_timeout(600)
        shot(page, "3_setup")
        no_sideways_scroll(page)

        # a preview, said to be not for numbers
        page.get_by_role("button", name="Preview").click()
        page.wait_for_selector("text=Not for numbers", timeout=WAIT)
        page.wait_for_selector(".wv-stage canvas")
        shot(page, "4_look")
        no_sideways_scroll(page)

        # the whole run: progress, the part and its spot while it computes, a reload in the middle
        page.get_by_role("button", name="Compute").click()
        page.wait_for_selector(".badge.running", timeout=WAIT)
        page.wait_for_selector(".stage .wv-target svg", timeout=WAIT)
        shot(page, "5_running")
        page.reload()
        page.wait_for_selector(".stage .wv-target svg", timeout=WAIT)
        page.wait_for_selector("h2:has-text('Where it ends')", timeout=WAIT)
        before = page.locator(".wv-readout").inner_text()
        page.click(".wv-play")
        page.wait_for_timeout(1500)
        assert page.locator(".wv-readout").inner_text() != before
        shot(page, "6_played")

        # what if: as a coarse run of the same case, side by side
        page.go_back()
        page.wait_for_selector("text=Not for numbers")
        page.get_by_role("button", name="Coarse run").click()
        page.wait_for_selector("text=Where it ends, at grade coarse", timeout=WAIT)
        page.select_option("#change", label="A with reverse travel")
        page.get_by_role("button", name="Try it side by side").click()
        page.wait_for_selector(".compare .readings", timeout=WAIT)
        assert page.locator(".pair .wv-stage canvas").count() == 2
        page.locator(".pair .wv-time").first.fill("500")
        times = [r.inner_text().split(" s")[0] for r in page.locator(".pair .wv-readout").all()]
        assert float(times[0]) == pytest.approx(float(times[1]), abs=0.6)
        shot(page, "7_side_by_side")
        no_sideways_scroll(page)

        # the queue, and the report once it is drawn
        page.click("nav a[data-step=queue]")
        page.wait_for_selector(".queue")
        shot(page, "8_queue")
        # the last is the first run: a what-if leads to side by side
        page.locator(".queue tr:has(td:text-is('run')) a").last.click()
        page.wait_for_selector("a:has-text('Report')", timeout=WAIT)
        with page.context.expect_page() as opened:  # in a tab of its own
            page.click("a:has-text('Report')")
        report = opened.value
        report.wait_for_selector("text=licensed engineer >> visible=true")
        assert "My bar" in report.inner_text("body")
        report.close()
        assert heard.errors == [] and heard.outside == []


def test_turning_the_part_hides_the_welds_behind_it(address):
    """Two fillets of a plate tee: one is seen from the front, the other from the back."""

    def wait_for_hidden(*seams):
        """Until just these seams are drawn as hidden along most of their way."""
        page.wait_for_function(
            """wanted => {
              const count = (g, some) => [...g.querySelectorAll(some)].reduce(
                (n, x) => n + x.points.numberOfItems - 1, 0);
              const found = [...document.querySelectorAll('.seam')].filter(
                g => count(g, '.run.back') > 0.5 * count(g, '.run'));
              return found.map(g => g.dataset.seam).join() === wanted;
            }""",
            arg=",".join(seams),
        )

    def press(key, times=1):
        for _ in range(times):
            page.locator(".part-stage").press(key)
        page.evaluate(
            "() => new Promise(done => requestAnimationFrame(() => setTimeout(done, 50)))"
        )

    def front():
        return page.locator(".seam[data-seam=front] .run").first.get_attribute("points")

    with browser.page(address, allowed=address, offline=False) as (page, heard):
        page.wait_for_selector(".joint")
        page.click(".joint:has-text('plate tee')")
        press("ArrowUp")  # nothing is drawn yet, or it turns
        page.wait_for_selector(".seam")
        press("0")
        wait_for_hidden("back")
        press("ArrowRight", 21)  # half round, 0.15 a step
        wait_for_hidden("front")
        press("ArrowUp", 40)  # far past straight above: it stops short of it
        above = front()
        press("ArrowUp")
        assert front() == above
        press("ArrowDown")  # and comes back at once
        page.wait_for_function(
            """above => document.querySelector('.seam[data-seam=front] .run')
              .getAttribute('points') !== above""",
            arg=above,
        )
        assert heard.errors == []


def test_keys_alone_reach_everything(address):
    """From the address bar to a changed order without a mouse."""
    with browser.page(address, allowed=address, offline=False) as (page, heard):
        page.wait_for_selector(".joint")
        page.locator(".joint").nth(1).press("Enter")
        page.wait_for_selector(".seam")
        page.keyboard.press("Tab")
        first = page.evaluate("document.activeElement.tagName")
        assert first in ("INPUT", "SUMMARY", "A", "BUTTON")
        page.get_by_role("button", name="reverse right").press("Enter")
        assert order(page)[0] == ("right", "downhill")
        page.get_by_role("button", name="weld right later").press(" ")
        assert [who for who, _ in order(page)][:2] == ["back", "right"]
        said = page.locator("#said")
        page.wait_for_timeout(200)
        assert "number 2" in said.inner_text()
        unnamed = page.evaluate(
            """[...document.querySelectorAll('button, input, select, a, [role=button]')].filter(e =>
            !(e.labels && e.labels.length) && !e.getAttribute('aria-label')
            && !e.textContent.trim()).length"""
        )
        assert unnamed == 0
        assert heard.errors == []


def test_two_tabs_do_not_disturb_each_other(address):
    with browser.page(address, allowed=address, offline=False) as (page, heard):
        page.wait_for_selector(".joint")
        page.click(".joint:has-text('plate tee')")
        page.wait_for_selector(".seam")
        other = page.context.new_page()
        other.goto(address)
        other.click(".joint:has-text('flat bar')")
        other.wait_for_selector(".seam")
        page.reload()
        page.wait_for_selector("h1:has-text('plate tee')")
        other.reload()
        other.wait_for_selector("h1:has-text('flat bar')")
        assert heard.errors == []
