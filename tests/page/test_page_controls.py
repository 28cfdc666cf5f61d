"""Controls hold still: nothing is replaced under a pointer or a focus, answers late or refused.

A real browser, a page without helper processes; what it asks for often is answered by the tests.
"""

import json
import socket
import threading
import time

import pytest
import uvicorn

from tests import browser
from tests import synthetic_run as invented
from tests.page.kit import SIZES, StillDesk, queue_of, starter
from weldsim.page import drafts, tasks
from weldsim.page.app import make_app
from weldsim.page.security import Door

pytestmark = pytest.mark.slow
JOB = {
    "id": "00000000000000aa", "kind": "look", "title": "A tee", "state": "running", "made": 0.0,
    "parent": "", "change": "", "error": "", "began": 0.0, "ended": None, "mine": True,
    "share": 0.0, "text": "", "left": 9.0, "stopping": False, "ahead": 0,
}  # fmt: skip
FOCUS = "document.activeElement.getAttribute('aria-label') || document.activeElement.textContent"


@pytest.fixture(scope="module")
def shapes():
    """Shapes of starters, made once."""
    return {
        k: tasks.shape(drafts.draft_text(starter(k)), "draft.toml") for k in ("bar", "plate-tee")
    }


@pytest.fixture(scope="module")
def served(tmp_path_factory, shapes):
    """Address of a page, and its work folder."""
    browser.need_browser()
    work = tmp_path_factory.mktemp("work")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    shape = lambda text, where: shapes["bar" if 'kind = "bar"' in text else "plate-tee"]  # noqa: E731
    desk = StillDesk({**SIZES, "shape": shape})
    app = make_app(queue_of(work), desk, Door(("127.0.0.1",), port, None))
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{port}/", work
    server.should_exit = True
    thread.join(10)


@pytest.fixture
def opened(served):
    """The first page, what is heard of it, and its work folder."""
    address, work = served
    with browser.page(address, allowed=address, offline=False) as (page, heard):
        page.set_default_timeout(30_000)
        page.wait_for_selector(".joint")
        yield page, heard, work


def set_up(page, joint):
    page.click(f".joint:has-text('{joint}')")
    page.wait_for_selector(".seam")
    page.wait_for_selector(".cost:has-text('Expect about')")


def settle(page, answers=1):
    """Wait until an edit has been answered and drawn."""
    page.wait_for_timeout(700 * answers)


def with_job(page, **more):
    """Answer for a job that goes on and on; gives back what was asked of it."""
    asked, begun = [], time.monotonic()

    def answer(route):
        path = route.request.url.rpartition("/api/")[2]
        job = {**JOB, **more, "share": min((time.monotonic() - begun) / 60, 1)}
        job["text"] = f"step {int(1000 * job['share'])}"
        if route.request.method == "POST":
            asked.append(path)
            job["state"] = "stopped"
            more["state"] = "stopped"
        route.fulfill(json={"jobs": [job]} if path == "jobs" else job)

    page.route("**/api/jobs", answer)
    page.route("**/api/jobs/**", answer)
    page.route("**/api/runs/**", lambda route: route.fulfill(status=404, json={"error": "no"}))
    page.route("**/api/runs/*/scene**", lambda route: route.fulfill(status=204))
    return asked


def test_stop_takes_a_slow_click_and_keeps_the_focus(opened):
    """A look is asked about eight times a second; a finger stays down longer than that."""
    page, heard, _ = opened
    asked = with_job(page)
    page.route("**/api/shelf", lambda route: route.fulfill(json={"cases": [], "work": "", "runs": [
        {"id": JOB["id"], "title": "A tee", "name": "x", "status": "running", "grade": "",
         "made": 0.0}]}))  # fmt: skip
    page.reload()
    page.click(".shelf a:has-text('A tee')")  # a run under way, from the first page
    page.wait_for_selector(".badge.running")
    stop = page.get_by_role("button", name="Stop")
    stop.focus()
    page.wait_for_timeout(600)
    assert page.evaluate(FOCUS) == "Stop"
    box = stop.bounding_box()
    page.mouse.move(box["x"] + 5, box["y"] + 5)
    page.mouse.down()
    page.wait_for_timeout(600)
    page.mouse.up()
    page.wait_for_selector(".badge.stopped")
    assert asked == [f"jobs/{JOB['id']}/stop"]
    assert page.evaluate(FOCUS) == "Go on"
    assert [e for e in heard.errors if "404" not in e] == []  # a stopped look has no words


def test_the_order_keeps_the_focus_over_an_answer(opened):
    page, heard, _ = opened
    set_up(page, "plate tee")
    for name, key, then in (
        ("weld front later", "Enter", "turn front round"),  # last now: later is off
        ("weld front earlier", "Enter", "turn front round"),  # first again
        ("turn front round", "Enter", "turn front round"),
        ("turn back round", " ", "turn back round"),
    ):
        page.get_by_role("button", name=name).press(key)
        assert page.evaluate(FOCUS) == then
        settle(page)
        assert page.evaluate(FOCUS) == then
    travel = page.get_by_label("travel of front")
    was = travel.input_value()
    travel.press("ArrowDown" if travel.evaluate("s => s.selectedIndex") == 0 else "ArrowUp")
    assert travel.input_value() != was
    for _ in range(2):
        assert page.evaluate(FOCUS) == "travel of front"
        settle(page)
    page.get_by_role("button", name="leave front unwelded").press("Enter")
    settle(page)
    assert page.evaluate(FOCUS) == "turn back round"  # the last one cannot be left out
    page.get_by_role("button", name="add front").press("Enter")
    settle(page)
    assert page.evaluate("document.activeElement !== document.body")
    assert heard.errors == []


def test_a_weld_takes_a_slow_click_while_an_answer_comes(opened):
    page, heard, _ = opened
    set_up(page, "flat bar")
    travel = page.get_by_label("travel of A")
    was = travel.input_value()
    box = page.locator(".seam[data-seam=A] .ball").bounding_box()
    page.mouse.move(box["x"] + 8, box["y"] + 8)
    page.mouse.down()
    with page.expect_response("**/api/shape"):  # of an edit made just before
        page.locator("#f-weld-0-current").evaluate(
            "f => { f.value = '101'; f.dispatchEvent(new Event('input')); }"
        )
    page.wait_for_timeout(300)
    page.mouse.up()
    page.wait_for_timeout(100)
    assert travel.input_value() != was
    assert heard.errors == []


def test_fields_keep_the_focus_when_entries_come_and_go(opened):
    page, heard, _ = opened
    set_up(page, "flat bar")
    page.get_by_role("button", name="Add a bead").press("Enter")
    settle(page)
    assert page.evaluate(FOCUS) == "Add a bead"
    page.get_by_role("button", name="Remove bead C").press("Enter")
    settle(page)
    assert page.evaluate(FOCUS) == "Remove bead B"
    assert heard.errors == []


def test_a_link_in_the_queue_keeps_the_focus(opened):
    page, heard, _ = opened
    with_job(page)
    page.reload()
    page.click("nav a[data-step=queue]")
    link = page.locator(".queue a:has-text('A tee')")
    link.focus()
    far = page.locator(".queue progress")
    before = float(far.get_attribute("value"))
    page.wait_for_timeout(4000)
    assert float(far.get_attribute("value")) > before  # the table went on meanwhile
    assert page.evaluate(FOCUS) == "A tee"
    page.get_by_role("button", name="Stop").press("Enter")
    page.wait_for_selector(".badge.stopped")
    assert page.evaluate(FOCUS).startswith("Go on")
    assert heard.errors == []


def test_a_busy_helper_is_asked_again(opened):
    page, heard, _ = opened
    busy = {"shape": 2, "words": 1}

    def answer(route):
        name = route.request.url.rpartition("/")[2]
        busy[name] -= 1
        if busy[name] >= 0:
            return route.fulfill(status=503, json={"error": "too many are asking at once"})
        return route.continue_()

    page.route("**/api/shape", answer)
    page.route("**/api/words", answer)
    set_up(page, "flat bar")
    assert busy == {"shape": -1, "words": -1}
    assert page.locator(".part .note").is_hidden()
    assert all("503" in e for e in heard.errors)


def test_only_the_newest_edit_is_asked_for(opened):
    """Six edits while the helper takes 1.5 s for a picture: the last is drawn, most are not."""
    page, heard, _ = opened
    set_up(page, "flat bar")
    sent, open_now, most = [], [0], [0]

    def slow(route):
        sent.append(json.loads(route.request.post_data)["tables"]["part"]["length"])
        open_now[0] += 1
        most[0] = max(most[0], open_now[0])
        page.wait_for_timeout(1500)
        open_now[0] -= 1
        route.continue_()

    page.route("**/api/shape", slow)
    for length in range(201, 207):
        page.fill("#f-part--length", str(length))
        page.wait_for_timeout(350)
    page.wait_for_timeout(3500)
    assert sent[-1] == "206 mm" and len(sent) <= 3 and most[0] == 1
    assert heard.errors == []


def test_a_run_without_its_case_is_asked_for_it_once(opened):
    page, heard, work = opened
    folder = invented.write_run(work / "old").path
    (folder / "case.json").unlink(missing_ok=True)
    asked = []
    page.on("request", lambda r: asked.append(r.url))
    page.reload()
    page.locator(".shelf a:has-text('Invented bar')").first.click()
    page.wait_for_selector("text=cannot be changed here")
    assert page.get_by_role("button", name="Change the set-up").is_disabled()
    page.wait_for_timeout(2000)
    assert sum(u.endswith("/case") for u in asked) == 1
    page.click("nav a[data-step=start]")
    page.wait_for_selector(".joint")
    asked.clear()
    page.wait_for_timeout(2000)
    assert [u for u in asked if "/api/runs" in u] == []
    assert all("40" in e for e in heard.errors)


def test_what_comes_of_a_run_names_it_as_its_base(opened):
    """The server lets a case name files only where that from which it began names them."""
    page, heard, work = opened
    invented.write_run(work / "base")
    case = {"kind": "bar", "tables": starter(), "base": "00000000000000bb", "form": None}
    good = {"ok": True, "messages": [], "order": [], "seams": [], "faces": []}
    sent = []

    def answer(route):
        if route.request.method != "POST":
            return route.continue_()
        sent.append(json.loads(route.request.post_data)["base"])
        return route.fulfill(json=good if route.request.url.endswith("check") else JOB)

    page.route("**/api/runs/*/case", lambda route: route.fulfill(json=case))
    page.route("**/api/check", answer)
    page.route("**/api/jobs", answer)
    page.reload()
    page.locator(".shelf a:has-text('Invented bar')").first.click()
    page.wait_for_selector("#change")
    page.get_by_role("button", name="Try it side by side").click()
    page.wait_for_selector(".compare")
    assert sent == [case["base"]] * 2


def test_a_run_of_another_program_is_shown_as_not_complete(opened):
    page, heard, work = opened
    folder = invented.write_run(work / "other").path
    manifest = json.loads((folder / "run.json").read_text())
    (folder / "run.json").write_text(
        json.dumps({**manifest, "title": "Of a terminal", "status": "running"})
    )
    page.reload()
    page.click(".shelf a:has-text('Of a terminal')")
    page.wait_for_selector(".badge:has-text('not complete')")
    assert page.get_by_role("button", name="Stop").count() == 0


def with_draft(page, tables):
    """The set-up of a draft that was kept when the page was left."""
    draft = {"kind": tables["part"]["kind"], "tables": tables, "base": None}
    page.evaluate("d => sessionStorage.setItem('weldsim draft', JSON.stringify(d))", draft)
    page.evaluate("location.hash = '#setup'")
    page.reload()


def test_a_table_where_a_list_should_be_is_a_list_of_one(opened):
    page, heard, _ = opened
    tables = starter()
    tables["weld"] = tables["weld"][0]
    with_draft(page, tables)
    page.wait_for_selector(".seam")
    assert [r.inner_text() for r in page.locator(".who").all()] == ["A"]
    assert page.get_by_role("button", name="Compute").is_enabled()


def test_what_is_neither_table_nor_list_is_told_by_the_server(opened):
    page, heard, _ = opened
    with_draft(page, {**starter(), "gauge": 3, "weld": [1, 2], "solve": [{}, {}]})
    page.wait_for_selector(".tell.bad")
    assert page.get_by_role("button", name="Compute").is_disabled()
    shown = page.locator(".mistake:not([hidden])").all_text_contents()
    assert any(shown) and not any("not a function" in text for text in shown)
    page.get_by_role("button", name="Add a bead").click()  # instead of what was none
    page.wait_for_selector("#f-weld-0-at")
    assert heard.errors == []


def test_a_comma_before_three_digits_is_refused_beside_its_field(opened):
    """1,500 is 1500 in English and 1.5 in German; 1,5 can be read one way only."""
    page, heard, _ = opened
    set_up(page, "flat bar")

    def kept(section, key, index=None):
        tables = page.evaluate("JSON.parse(sessionStorage.getItem('weldsim draft')).tables")
        return (tables[section] if index is None else tables[section][index])[key]

    field, message = page.locator("#f-weld-0-bead_width"), page.locator("#f-weld-0-bead_width-m")
    for typed in ("1,500", "1,500 mm"):
        field.fill(typed)
        message.wait_for(state="visible")
        assert message.inner_text() == "1,500 can be read two ways: write 1500 or 1.500"
        assert kept("weld", "bead_width", 0) == typed
        assert page.get_by_role("button", name="Compute").is_disabled()
        field.fill("5,5")
        message.wait_for(state="hidden")
        assert kept("weld", "bead_width", 0) == "5.5 mm"
    for typed, value in (("0,250 in", "0.250 in"), ("5,5 mm", "5.5 mm"), ("5,50", "5.50 mm")):
        field.fill(typed)
        assert kept("weld", "bead_width", 0) == value
    settle(page)
    assert message.is_hidden()
    assert heard.errors == []
