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
from tests.page.kit import SIZES, StillWorker, queue_of, starter
from weldsim.page import case_form, tasks
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
        k: tasks.shape(case_form.form_text(starter(k)), "draft.toml") for k in ("bar", "plate-tee")
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
    worker = StillWorker({**SIZES, "shape": shape})
    app = make_app(queue_of(work), StillWorker(), worker, Door(("127.0.0.1",), port, None))
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
        page.set_default_timeout(120_000)
        page.wait_for_selector(".joint")
        yield page, heard, work


def set_up(page, joint):
    page.click(f".joint:has-text('{joint}')")
    page.wait_for_selector(".seam")
    page.wait_for_selector(".cost:has-text('Compute, grade')")
    page.wait_for_selector(".lines li:not(:text('reading the case'))", state="attached")


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
    assert page.evaluate(FOCUS) == "Resume"
    assert [e for e in heard.errors if "404" not in e] == []  # a stopped look has no words


def test_the_order_keeps_the_focus_over_an_answer(opened):
    page, heard, _ = opened
    set_up(page, "plate tee")
    for name, key, then in (
        ("weld back later", "Enter", "reverse back"),  # last now: later is off
        ("weld back earlier", "Enter", "reverse back"),  # first again
        ("reverse back", "Enter", "reverse back"),
        ("reverse front", " ", "reverse front"),
    ):
        page.get_by_role("button", name=name).press(key)
        assert page.evaluate(FOCUS) == then
        settle(page)
        assert page.evaluate(FOCUS) == then
    travel = page.get_by_label("travel of back")
    was = travel.input_value()
    travel.press("ArrowDown" if travel.evaluate("s => s.selectedIndex") == 0 else "ArrowUp")
    assert travel.input_value() != was
    for _ in range(2):
        assert page.evaluate(FOCUS) == "travel of back"
        settle(page)
    page.get_by_role("button", name="leave back unwelded").press("Enter")
    settle(page)
    assert page.evaluate(FOCUS) == "reverse front"  # the last one cannot be left out
    page.get_by_role("button", name="add back").press("Enter")
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
    assert page.evaluate(FOCUS).startswith("Resume")
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


CASE = {"kind": "bar", "tables": starter(), "base": "00000000000000bb", "form": None}
GOOD = {"ok": True, "messages": [], "order": [], "seams": [], "faces": []}


def test_what_comes_of_a_run_names_it_as_its_base(opened):
    """The server lets a case name files only where that from which it began names them."""
    page, heard, work = opened
    invented.write_run(work / "base")
    sent = []

    def answer(route):
        if route.request.method != "POST":
            return route.continue_()
        sent.append(json.loads(route.request.post_data)["base"])
        return route.fulfill(json=GOOD if route.request.url.endswith("check") else JOB)

    page.route("**/api/runs/*/case", lambda route: route.fulfill(json=CASE))
    page.route("**/api/check", answer)
    page.route("**/api/jobs", answer)
    page.reload()
    page.locator(".shelf a:has-text('Invented bar')").first.click()
    page.wait_for_selector("#change")
    page.get_by_role("button", name="Try it side by side").click()
    page.wait_for_selector(".compare")
    assert sent == [CASE["base"]] * 2


def test_a_job_refused_on_the_watch_view_is_told_beside_its_button(opened):
    """Over a view in three dimensions too; a queue without room for the moment is asked again."""
    page, heard, work = opened
    invented.write_run(work / "quick")
    answers, sent = [], []

    def jobs(route):
        if route.request.method != "POST":
            return route.fulfill(json={"jobs": []})
        sent.append(json.loads(route.request.post_data))
        status = answers.pop(0)
        return route.fulfill(
            status=status, json=JOB if status == 200 else {"error": f"no {status}"}
        )

    def as_look(route):
        route.fulfill(json={**route.fetch().json(), "look": "look"})

    page.route("**/api/runs/*", as_look)
    page.route("**/api/runs/*/case", lambda route: route.fulfill(json=CASE))
    page.route("**/api/check", lambda route: route.fulfill(json=GOOD))
    page.route("**/api/jobs", jobs)
    page.reload()
    page.locator(".shelf a:has-text('Invented bar')").first.click()
    page.wait_for_selector(".stage:not([hidden])")
    page.wait_for_selector("#change")
    here = page.evaluate("location.hash")
    panels = {
        "Compute": "words",
        "Coarse run": "words",
        "Try it side by side": "what if",
    }
    for word, panel in panels.items():
        answers[:] = [503, 400]
        button = page.get_by_role("button", name=word)
        button.press("Enter")
        told = page.locator(f"[data-key='{panel}'] > [data-key=told]")
        told.filter(has_text="no 503").wait_for()
        button.press("Enter")  # under way already
        told.filter(has_text="no 400").wait_for()
        assert told.is_visible() and page.locator("[data-key=told]").count() == 1
        assert page.evaluate(FOCUS) == word and page.evaluate("location.hash") == here
    assert [s["kind"] for s in sent] == ["run"] * 2 + ["rough"] * 2 + ["look"] * 2
    answers[:] = [503, 200]
    page.get_by_role("button", name="Compute").click()
    page.wait_for_url(f"**/#watch/{JOB['id']}")
    assert [e for e in heard.errors if "503" not in e and "400" not in e and "404" not in e] == []


@pytest.mark.parametrize("failure", ["none", 503])
def test_a_case_nobody_answered_for_is_asked_for_again(opened, failure):
    page, heard, work = opened
    invented.write_run(work / f"again-{failure}")
    left = [2]

    def case(route):
        left[0] -= 1
        if left[0] < 0:
            return route.fulfill(json=CASE)
        if failure == "none":
            return route.abort()
        return route.fulfill(status=failure, json={"error": "busy"})

    page.route("**/api/runs/*/case", case)
    page.route("**/api/check", lambda route: route.fulfill(json=GOOD))
    page.reload()
    page.locator(".shelf a:has-text('Invented bar')").first.click()
    page.wait_for_selector("text=cannot be changed here yet")
    assert page.get_by_role("button", name="Change the set-up").is_disabled()
    page.wait_for_selector("#change")  # what may be changed, when it came
    assert left == [-1] and page.locator("text=cannot be changed here").count() == 0
    assert page.get_by_role("button", name="Change the set-up").is_enabled()


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


def keeper(page):
    """Gives what the draft holds at a place."""

    def kept(section, key, index=None):
        tables = page.evaluate("JSON.parse(sessionStorage.getItem('weldsim draft')).tables")
        return (tables[section] if index is None else tables[section][index])[key]

    return kept


def test_a_comma_before_three_digits_is_refused_beside_its_field(opened):
    """1,500 is 1500 in English and 1.5 in German; 1,5 can be read one way only."""
    page, heard, _ = opened
    set_up(page, "flat bar")
    kept = keeper(page)
    field, message = page.locator("#f-weld-0-bead_width"), page.locator("#f-weld-0-bead_width-m")
    for typed, whole in (("1,500", "1,500 mm"), ("1,500 in", "1,500 in")):
        field.fill(typed)
        message.wait_for(state="visible")
        assert message.inner_text() == "1,500 can be read two ways: write 1500 or 1.500"
        assert kept("weld", "bead_width", 0) == whole
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


def test_a_refused_number_keeps_its_unit(opened):
    page, heard, _ = opened
    set_up(page, "flat bar")
    kept = keeper(page)
    field = page.locator("#f-weld-0-speed")
    unit = page.locator("#f-weld-0-speed ~ select")
    unit.select_option("in/min")
    for typed in ("1,500", "1,50,000"):
        field.fill(typed)
        page.get_by_role("button", name="reverse A").click()  # builds the form again
        assert (field.input_value(), unit.input_value()) == (typed, "in/min")
        assert kept("weld", "speed", 0) == f"{typed} in/min"
        page.locator("#f-weld-0-speed-m").wait_for(state="visible")
        assert page.get_by_role("button", name="Compute").is_disabled()
    field.fill("5")
    assert kept("weld", "speed", 0) == "5 in/min"
    settle(page)
    assert heard.errors == []


def test_commas_that_can_only_part_thousands_are_read_so(opened):
    page, heard, _ = opened
    set_up(page, "flat bar")
    kept = keeper(page)
    field, message = page.locator("#f-part--length"), page.locator("#f-part--length-m")
    for typed, value in (
        ("1,234,567", "1234567 mm"), ("1,200.5", "1200.5 mm"), ("1,200.5 in", "1200.5 in"),
        ("12,345,678.25", "12345678.25 mm"), ("1,234,567e-3", "1234567e-3 mm"),
        ("0,234,567", "0,234,567 mm"), ("1,234,5678", "1,234,5678 mm"),
    ):  # fmt: skip
        field.fill(typed)
        assert kept("part", "length") == value
        assert "two ways" not in message.text_content() or message.is_hidden()
    for typed, directions in (
        ("1,500", ("1500", "1.500")), ("1234,567", ("1234567", "1234.567")),
        ("1,500e2 mm", ("1500e2", "1.500e2")),
    ):  # fmt: skip
        field.fill(typed)
        message.filter(has_text=f"write {directions[0]} or {directions[1]}").wait_for()
        assert message.inner_text().startswith(f"{typed.split()[0]} can be read two ways: ")
    field.fill("1,200.5")
    page.get_by_label("unit of length").first.select_option("in")
    # a unit chosen behind a number that was typed relabels it
    assert (field.input_value(), kept("part", "length")) == ("1,200.5", "1200.5 in")
    field.fill("200 mm")
    settle(page)
    assert message.is_hidden() and heard.errors == []


def test_what_is_seldom_changed_stays_open(opened):
    page, heard, _ = opened
    set_up(page, "flat bar")

    def shown():
        """Whether it is open, by the name of the bead."""
        return {
            page.locator(f"#f-weld-{i}-name").input_value(): page.locator(
                f"fieldset:has(#f-weld-{i}-name) details.rare"
            ).get_attribute("open") is not None
            for i in range(page.locator("input[id^='f-weld-'][id$='-name']").count())
        }  # fmt: skip

    first = shown()
    assert len(first) > 1 and not any(first.values())
    page.locator("fieldset:has(#f-weld-0-name) details.rare summary").click()
    name, other = list(first)[:2]
    page.get_by_role("button", name=f"reverse {name}").click()
    assert shown() == {**first, name: True}
    page.get_by_role("button", name=f"weld {name} later").click()
    assert shown() == {**first, name: True} and list(shown())[1] == name
    page.fill("#f-weld-1-name", "Z")
    page.get_by_role("button", name=f"reverse {other}").click()
    assert shown()["Z"] and not shown()[other]
    page.locator("fieldset:has(#f-weld-1-name) details.rare summary").click()
    page.get_by_role("button", name=f"reverse {other}").click()
    assert not any(shown().values())
    settle(page)
    assert heard.errors == []


def test_a_weld_named_like_a_seam_hides_it_not(served, shapes):
    address, _ = served
    welds = shapes["plate-tee"]["welds"]
    a, b = [w for w in welds if not w.get("tack")][:2]
    shape = {**shapes["plate-tee"], "welds": [{**a, "name": b["seam"]}], "kind": "plate-tee",
             "loose": [{**b, "name": b["seam"]}]}  # fmt: skip
    with browser.page(address, allowed=address, offline=False) as (page, heard):
        page.wait_for_selector(".joint")
        found = page.evaluate("""async (shape) => {
            const { PartView } = await import("/static/part.js");
            const view = new PartView(() => {});
            const seams = () => [...view.over.querySelectorAll(".seam")];
            view.stage.style = "width: 500px; height: 400px";
            document.body.append(view.stage);
            view.set(shape);
            view.paint();
            const first = seams();
            first[1].focus();
            view.paint();
            return [first.map((x) => x.dataset.seam), seams().map((x) => x.dataset.seam),
              seams()[1] === document.activeElement];
        }""", shape)  # fmt: skip
    assert found == [[b["seam"], a["seam"]]] * 2 + [True]
    assert heard.errors == []
