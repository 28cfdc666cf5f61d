"""Questions in a real browser: the best sequence from a set-up to a reading and back to the set-up.

Set WELDSIM_SHOTS to a folder to keep pictures.
"""

import os
from pathlib import Path

import pytest

from tests import browser
from tests.page.test_browser import WAIT, address, small  # noqa: F401

pytestmark = pytest.mark.slow
SIZES = {"desk": (1440, 900), "projector": (1920, 1080), "phone": (390, 844)}


def at_all_sizes(page, name):
    """Nothing to push aside at any size; pictures where they are asked for."""
    for word, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(150)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, (name, word)
        if folder := os.environ.get("WELDSIM_SHOTS"):
            page.screenshot(path=str(Path(folder) / f"{name}_{word}.png"), full_page=True)
    page.set_viewport_size(dict(zip(("width", "height"), SIZES["desk"], strict=True)))


def test_the_page_answers_which_seam_first(address):  # noqa: F811
    with browser.page(address, SIZES["desk"], allowed=address, offline=False) as (page, heard):
        page.set_default_timeout(WAIT)
        page.wait_for_selector(".joint")
        page.click(".joint:has-text('flat bar')")
        page.wait_for_selector(".seam")
        told = page.locator(".actions .cost").inner_text()  # from the first moment on
        assert all(
            f"{word}: " in told for word in ("Preview", "Coarse run", "Compute, grade normal")
        )
        small(page)
        words = (
            "xs => xs.map((x) => x.value)"  # one pair of words, in the fields and in the sequence
        )
        for menu in (".field[data-place='weld|travel'] option", ".turn select option"):
            assert page.eval_on_selector_all(menu, words) == ["up", "down"] * 2
        page.click(".times summary")  # what every grade takes, before anything is begun
        page.wait_for_selector(".times tr[data-key=sketch] td:has-text('about')")

        page.click("nav a[data-step=ask]")
        plan = page.locator(".question[data-kind=plan]")
        plan.get_by_label("tolerance").fill("2 mrad")
        plan.locator("summary").click()
        plan.get_by_label("grade of the ranking").select_option("sketch")
        plan.get_by_label("best ones run again, finer").fill("0")
        plan.locator(".seam-choice[data-seam=A] input[data-word=down]").uncheck()
        page.wait_for_selector("text=4 sequences to compare")  # 2 orders, B both ways
        another = plan.get_by_label("setting that varies")  # by its name, with its key behind it
        another.select_option(label="B: current (weld.B.current)")
        values = plan.get_by_label("its values", exact=True)
        assert values.get_attribute("placeholder").startswith("such as ")
        values.fill("80 A, 90 A")
        page.wait_for_selector("text=8 sequences to compare")
        another.select_option("")
        page.wait_for_selector("text=4 sequences to compare")
        page.wait_for_selector(".question[data-kind=plan] .cost:has-text('about')")
        at_all_sizes(page, "questions")
        page.get_by_role("button", name="Find the best sequence").click()

        page.wait_for_selector("h2:has-text('Ranking of 4 sequences')")
        assert page.locator(".ranking tbody tr").count() == 4
        assert "A down" not in page.locator(".ranking").inner_text()
        page.wait_for_selector("a:has-text('Print the bench sheet')")
        at_all_sizes(page, "ranking")
        page.set_viewport_size({"width": 390, "height": 844})  # every cell within a phone
        cells = "[...document.querySelectorAll('.ranking td, .ranking tbody th')]"
        right = f"Math.max(...{cells}.map((x) => x.scrollWidth + x.getBoundingClientRect().left))"
        assert page.evaluate(right) <= 390
        page.set_viewport_size({"width": 1920, "height": 1080})  # a projector's window is filled
        wide = "document.querySelector('.ranking').getBoundingClientRect().width"
        assert page.evaluate(wide) > 0.9 * 1920
        page.set_viewport_size({"width": 1440, "height": 900})

        page.click(".film-readings summary")  # a film may be brought in place of a reading
        page.wait_for_selector(".film-readings >> text=No film yet")

        # a reading after the first weld: how to go on, one weld being left
        page.get_by_label("pointer up").first.fill("3")
        page.get_by_role("button", name="What do I weld next?").click()
        page.wait_for_selector("h2:has-text('Weld next')")
        assert page.locator("[data-key=ways] tbody tr").count() in (1, 2)
        assert "chance" in page.locator("[data-key=ways]").inner_text().lower()
        at_all_sizes(page, "how_to_go_on")
        page.click("text=Back to the ranking")
        page.wait_for_selector(".read-after a:has-text('after')")

        # the second row goes into the set-up, with its sequence
        row = page.locator(".ranking tbody tr").nth(1)
        wanted = row.locator("th span").first.inner_text().split(", ")
        row.get_by_role("button", name="into the set-up").click()
        page.wait_for_selector(".turn")
        found = [
            f"{r.locator('.who').inner_text()} {r.locator('select').input_value()}"
            for r in page.locator(".turn").all()
        ]
        assert found == wanted
        page.click("nav a[data-step=queue]")
        page.wait_for_selector(".queue td:has-text('best sequence')")
        at_all_sizes(page, "queue")
        assert heard.errors == [] and heard.outside == []
