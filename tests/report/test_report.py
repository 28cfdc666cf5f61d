"""report.html: whole in itself, words first, cautions in, nothing from outside."""

import base64
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tests import browser
from tests import synthetic_run as invented
from weldsim.errors import StoreError
from weldsim.joints.registry import KINDS
from weldsim.plots.gauge_plots import gauge_history
from weldsim.plots.timetable import clamp_spans, timetable_svg
from weldsim.report.comparison import comparison, differences, verdicts
from weldsim.report.report import CHECKED, VALIDATION, assumptions, rule_words, write_report
from weldsim.report.tables import gauge_table, working_position
from weldsim.report.units_switch import both
from weldsim.report.viewer import SCRIPTS
from weldsim.runs.reading import read_run
from weldsim.runs.recorded_case import RecordedRule, recorded_case
from weldsim.text.cautions import CAUTIONS, DEFER
from weldsim.text.words import result_words

# one pixel, PNG of the W3C test suite kind: enough to see it arrive in the page
PIXEL = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)


class Reader(HTMLParser):
    """Collects the text people read, the addresses, the scripts, and tags left open."""

    EMPTY = ("meta", "img", "br", "link", "input", "hr")
    INLINE = ("span", "strong", "code", "summary", "label")

    def __init__(self):
        super().__init__()
        self.words, self.addresses, self.tags, self.open, self.scripts = [], [], [], [], []

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.addresses += [v for k, v in attributes if k in ("src", "href", "xlink:href", "data")]
        if tag == "script":
            self.scripts.append([dict(attributes).get("type"), ""])
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        if tag not in self.EMPTY:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag
        self.words.append("" if tag in self.INLINE else " ")

    def handle_data(self, data):
        if self.open and self.open[-1] == "script":
            self.scripts[-1][1] += data
        elif not self.open or self.open[-1] != "style":
            self.words.append(data)

    @property
    def text(self):
        return " ".join("".join(self.words).split())


def read(path):
    reader = Reader()
    reader.feed(path.read_text(encoding="utf-8"))
    reader.close()
    return reader


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    folder = invented.write_run(tmp_path_factory.mktemp("runs") / "bar", frames=(0.0, 900.0))
    (folder.path / "pictures" / "shape.png").write_bytes(PIXEL)
    (folder.path / "pictures" / "temperature_A.png").write_bytes(PIXEL)
    return folder


@pytest.fixture(scope="module")
def page(run):
    return write_report(run.path)


def test_nothing_points_outside_the_page(page):
    text = page.read_text(encoding="utf-8")
    own = re.sub(r"<script.*?</script>", "", text, flags=re.DOTALL)
    assert not re.search(r"https?:|//[a-z]+\.[a-z]", re.sub(r'base64,[^"]*"', '"', own))
    for address in read(page).addresses:
        assert address.startswith(("#", "data:image/"))
    assert not {"link", "iframe", "object"} & set(read(page).tags)
    assert "default-src 'none'" in text  # the browser itself refuses every address


def test_page_is_well_formed_and_holds_the_plots(page):
    reader = read(page)
    assert reader.open == []
    # timetable, and gauges and light spot in both units; the invented bar tells no weld paths
    assert reader.tags.count("svg") == 5
    names = re.findall(r'\bid="([^"]+)"', page.read_text(encoding="utf-8"))
    assert len(set(names)) == len(names)


def test_scene_is_in_the_page_and_no_text_can_end_it(page):
    (kind, text), *scripts = read(page).scripts
    assert kind == "application/json" and json.loads(text)["title"].startswith("Invented bar")
    assert "<" not in text and len(scripts) == len(SCRIPTS) + 1


def test_pictures_arrive_whole(page):
    found = re.findall(r"data:image/png;base64,([^\"]+)", page.read_text(encoding="utf-8"))
    assert [base64.b64decode(f) for f in found] == [PIXEL, PIXEL]


def test_words_come_first_then_certainty_then_numbers(page):
    text = read(page).text
    order = ["The pointer ends", "Timetable", "Accuracy", "coarser grade", "Welds", "Heat balance",
             "Assumptions", "What it was compared with", "Cautions"]  # fmt: skip
    places = [text.index(word) for word in order]
    assert places == sorted(places)
    assert "has not been compared with measurements" in text
    assert "Warning: invented: for tests" in text


def test_every_check_the_report_names_is_in_the_tests(page):
    """No claim without a test: the file is there and names the source it is checked against."""
    text = read(page).text
    folder = Path(__file__).parent.parent / "verification"
    for name, source, file in CHECKED:
        assert f"{name} ({source})" in text
        words = (folder / f"{file}.py").read_text(encoding="utf-8")
        assert source.partition(",")[0].split()[0] in words


def test_cautions_and_who_decides_are_in(page):
    text = read(page).text
    for line in (*CAUTIONS, DEFER):
        assert " ".join(line.split()) in text


def test_tables_hold_the_run(page):
    text = page.read_text(encoding="utf-8")
    for cell in ("TIG (141)", ">1.38<", ">0.83<", ">152<", "85.00 kJ", "solve.grade=quick"):
        assert cell in text


@pytest.fixture
def quick(monkeypatch):
    """Pages without plots, where these are not what is tested: they take most of the time."""
    monkeypatch.setattr("weldsim.report.report._plots", lambda *_: [])
    monkeypatch.setattr("weldsim.report.report._stress", lambda record, mark: None)


def test_text_from_the_case_cannot_break_the_page(tmp_path, quick):
    folder = invented.write_run(tmp_path / "odd", frames=(0.0,))
    manifest = folder.read_json("run.json")
    manifest["title"] = "<script>alert(1)</script> & 6 < 7"
    folder.write_json("run.json", manifest)
    reader = read(write_report(folder.path))
    assert reader.open == [] and not any("alert(1)" in t for k, t in reader.scripts if k is None)
    assert "<script>alert(1)</script> & 6 < 7" in reader.text


def test_an_unfinished_run_says_so(tmp_path, quick):
    folder = invented.write_run(tmp_path / "half", frames=(0.0,))
    (folder.path / "summary.json").unlink()
    (folder.path / "run.json").unlink()
    manifest = invented.manifest("stopped")
    del manifest["balances"], manifest["error_estimate"]
    manifest["timetable"] = [{"name": "A", "start": 0.0, "end": None}]
    folder.write_json("run.json", manifest)
    text = read(write_report(folder.path)).text
    assert "This run is stopped" in text and "--resume" in text
    assert "Estimated error: none for this run" in text
    assert "It covers mesh and time steps" not in text


def test_refuses_what_is_no_run(tmp_path):
    with pytest.raises(StoreError, match="not a run folder"):
        write_report(tmp_path)


@pytest.fixture(scope="module")
def tee(tmp_path_factory):
    folder = invented.write_joint_run(tmp_path_factory.mktemp("runs") / "tee", frames=(0.0, 300.0))
    (folder.path / "pictures" / "layout.png").write_bytes(PIXEL)
    return folder


@pytest.fixture(scope="module")
def tee_page(tee):
    return read(write_report(tee.path)).text


def test_layout_stands_after_the_words_and_only_there(tee, tee_page):
    text = (tee.path / "report.html").read_text(encoding="utf-8")
    assert text.count("<img") == 1
    order = ["clamp saddle", "The part as meshed, with the sequence", "Accuracy"]
    places = [tee_page.index(word) for word in order]
    assert places == sorted(places)


def test_welds_of_a_joint_say_seam_pass_and_travel(tee_page):
    for where in ("tack on right, 8 to 12 mm", "front, pass 1, +x, 0 to 10 mm",
                  "front, pass 1, +x, 10 to 20 mm", "back, pass 1, -x "):  # fmt: skip
        assert where in tee_page
    assert "back, pass 1, -x, 0 to" not in tee_page  # a whole pass needs no stretch


def test_clamps_and_what_they_hold_are_tabled(tee_page):
    assert "saddle chord start spring 5 kN/mm, free to turn – from the start never" in tee_page
    assert "jig branch end rigid – 200 from the start 20 s after the end of front.2" in tee_page
    assert "mean equivalent stress of the weld zone 270 MPa" in tee_page
    assert "clamp saddle still pushes with 1300 N and 0 N m" in tee_page
    assert "jig opened at 40 s, which moved pointer up -9.83 mm" in tee_page


def test_a_bar_in_a_vise_has_no_clamp_table(page):
    text = page.read_text(encoding="utf-8")
    assert "<h2>Clamps</h2>" not in text and "<h2>Locked in</h2>" not in text


def test_assumptions_go_by_what_the_case_has(tee):
    record = read_run(tee.path)
    lines = " ".join(assumptions(record))
    for words in (
        "Tacks are there from the start, cold and without stress.",
        "laid with the arc",
        "without friction and pass no heat",
        "A spring clamp pulls back",
        "rigid clamp",
        "opens at once",
        "preset is a tilt",
        "heat loss to air of 60 W/m²/K",
        "Filler is of the part's own metal.",
    ):
        assert words in lines
    case = record.manifest["case"]
    case["metal"] = {"filler_yield_factor": 1.25}
    assert "Filler yields at 1.25 times the stress" in " ".join(assumptions(record))
    case["tacks"], case["clamps"], case["preset"] = [], [], [0.0, 0.0, 0.0]
    del case["cooling_film_coefficient"], case["part"]["penetration"]
    lines = " ".join(assumptions(record))
    assert "No tack welds" in lines and "Nothing holds the part" in lines
    for words in ("from the start, cold", "friction", "spring", "rigid", "preset", "Forced"):
        assert words not in lines


def test_every_joint_says_that_it_was_not_measured():
    assert set(VALIDATION) == set(KINDS)
    measured = {"deposit"}  # one block of beads, see weldsim/validation/measured_block.py
    assert all(
        ("has not been compared with measurements" in said) == (kind not in measured)
        for kind, said in VALIDATION.items()
    )
    assert all("a direction and an order of magnitude" in said for said in VALIDATION.values())


def test_start_rules_in_words():
    rule = RecordedRule("below", weld="front", temperature=423.15)
    assert rule_words(rule, "") == "when front is below 150 °C"
    assert rule_words(RecordedRule("cold"), "") == "when the part is cold"
    assert rule_words(RecordedRule("time", 90.0), "") == "at 90 s"
    assert rule_words(None, "from the start") == "from the start"


def test_a_quantity_carries_both_texts_into_the_page():
    assert 'data-m="3 mm" data-u="0.12 in">0.12 in<' in str(both("a < 3 mm", "us"))
    assert 'data-u="0.047 ±0.012 in"' in str(both("1.2 ±0.3 mm"))
    assert str(both("turns 3.2 mrad & more")) == "turns 3.2 mrad &amp; more"


def test_us_readings_come_from_the_full_values(run):
    """The spot ends 33.52 mm up, shown as 34 for an error of 1.4: 1.32 in, where 34 mm were 1.34.

    By hand: 33.52 / 25.4 = 1.3197.
    """
    record = read_run(run.path)
    record.gauges["pointer_up_mm"][-1] = 33.52
    record.manifest["error_estimate"]["values"]["pointer_up_mm"] = 1.4
    (line,) = [w for w in result_words(record) if "on the target" in w]
    assert "34 mm up" in line and "1.32 in up" in line.text("us")
    (row,) = [r for r in gauge_table(record) if (r["name"], r["unit"]) == ("pointer up", "mm")]
    assert row["final"] == "+34" and row["final"].text("us") == "+1.32"
    labels = [t.get_text() for a in gauge_history(record, units="us").axes for t in a.texts]
    assert any(w.endswith("up +1.32") for w in labels)


def test_both_texts_stand_in_the_page_and_units_choose(tee, quick):
    metric = write_report(tee.path).read_text(encoding="utf-8")
    us = write_report(tee.path, units="us")
    assert 'body data-units="metric"' in metric and "100 °C" not in read(us).text
    text = read(us).text
    assert "The pointer ends 0.79" in text and " in up" in text and "16.4 ft away" in text
    with pytest.raises(StoreError, match="'inch' is not allowed, allowed: metric, us"):
        write_report(tee.path, units="inch")


def test_runs_stand_beside_each_other(run, tee, tmp_path, quick):
    out = write_report([run.path, tee.path], out=tmp_path / "two.html")
    text = read(out).text
    assert "The runs beside each other" in text and "Run 2: Invented tee" in text
    assert list(tmp_path.iterdir()) == [out]
    records = [read_run(run.path), read_run(tee.path)]
    rows = {r["name"]: r for r in comparison(records)}
    assert rows["first arc to last arc stop"]["cells"] == ["122", "90"]  # 2 arcs of 30.8 and 60 s
    assert rows["pointer up"]["apart"] == "cannot be told: no estimated error"
    shared, more = differences(records)
    assert ("part, kind", ["bar", "square-tube-tee"]) in shared and more > 0


def test_runs_are_told_apart_by_their_errors(run):
    first, second = read_run(run.path), read_run(run.path)
    rows = {r["name"]: r for r in comparison([first, second])}
    assert rows["pointer up"]["apart"] == "within the errors"
    second.gauges["pointer_up_mrad"][-1] += 0.5  # its error is 0.2 in each
    rows = {r["name"]: r for r in comparison([first, second])}
    assert rows["pointer up"]["apart"] == "more than the errors"


@pytest.mark.parametrize(
    ("limit", "word"), [("9 mrad", "inside"), ("1 mrad", "outside"), ("7.8 mrad", "too close")]
)
def test_a_tolerance_gives_a_verdict(run, limit, word):
    """The invented tilt ends 7.0 mrad up and 3.2 left, 7.7 in all, with an error of 0.22."""
    record = read_run(run.path)
    record.case["gauges"][0]["tolerance"] = limit
    (row,) = verdicts(record)
    assert row["verdict"].startswith(word) and "mrad" in row["reading"]


def test_a_verdict_converts_reading_and_error(run):
    """The pointer's spot as if it were a dial: its reading and its error both become inches."""
    record = read_run(run.path)
    name = next(c.name for c in record.columns if c.unit == "mm")
    record.manifest["case"]["gauges"] = [{"name": "pointer", "kind": "dial", "tolerance": "1.5 mm"}]
    for column in record.columns:
        record.gauges[column.name][-1] = 1.2 if column.unit == "mm" else 0.0
    record.manifest["error_estimate"]["values"].update(
        {c.name: 0.3 for c in record.columns if c.unit == "mm"}
    )
    (row,) = verdicts(record)
    assert row["reading"] == "1.2 ±0.3 mm" and name in record.errors
    assert row["reading"].text("us") == "0.047 ±0.012 in"


def test_a_verdict_of_the_run_itself_comes_first(run):
    record = read_run(run.path)
    record.summary["tolerances"] = {"verdicts": [
        {"gauge": "pointer", "tolerance": "+-1 mrad", "verdict": "outside"}]}  # fmt: skip
    assert verdicts(record)[0]["verdict"] == "outside"


def test_where_the_movement_comes_from(tee, quick):
    (tee.path / "why.json").write_text(json.dumps({
        "how": "by time, from a second run of the case", "error": "the parts have none",
        "in_words": ["Most of the tilt comes from weld back."], "pictures": [],
        "readings": {"pointer_up_mrad": {"gauge_value": 4.0, "residual": 0.1, "others": {},
                                         "welds": {"front.1": 1.5, "back": 2.4}}},
    }), encoding="utf-8")  # fmt: skip
    text = read(write_report(tee.path)).text
    assert "Most of the tilt comes from weld back." in text and "back +2.4" in text
    (tee.path / "why.json").unlink()
    assert f"weldsim why {tee.path.name}" in read(write_report(tee.path)).text


def test_timetable_shows_arcs_pauses_and_clamps(tee):
    """Numbers of synthetic_run: jig opens at 40 s, pauses of 8.5 and 60 s."""
    record = read_run(tee.path)
    svg = timetable_svg(record)
    for words in ("front.1 10 to 15 s", ">60 s<", "jig: opens at 40 s", "saddle: stays closed"):
        assert words in svg
    assert {g.name: g.end for g in clamp_spans(record)} == {"saddle": None, "jig": 40.0}


def test_timetable_has_a_line_for_each_seam_and_hollow_tacks(tee):
    """Numbers of synthetic_run: tack1 lies on seam right, front.1 and front.2 on front."""
    svg = timetable_svg(read_run(tee.path))
    lines = re.findall(r'text-anchor="end">([^<]+)<', svg)
    assert lines == ["right", "front", "back", "pauses", "saddle", "jig"]
    hollow = re.findall(r'stroke-width="2"><title>(\w+)', svg)
    assert hollow == ["tack1"]


def test_working_positions(tee):
    """ISO 6947: the tee lies with +y up, so front is flat or horizontal fillet, back overhead."""
    record = read_run(tee.path)
    found = {w.name: working_position(record, w) for w in recorded_case(record).welds}
    assert found["front.1"] == "PB" and found["back"] == "PD" and found["tack1"] == "PF"


@pytest.mark.slow
def test_report_opens_without_a_network_and_its_parts_work(tee, tmp_path):
    """From file://, nothing asked for, no error; slider, spot, units; paper has pages."""
    page = write_report(tee.path)
    for size in (browser.DESKTOP, browser.TABLET):
        with browser.page(page, size=size) as (tab, heard):
            tab.wait_for_selector(".wv-spot")
            place = tab.get_attribute(".wv-spot", "cx")
            shown = tab.inner_text(".wv-readout")
            tab.fill(".wv-time", "300")
            assert tab.inner_text(".wv-readout") != shown
            assert tab.get_attribute(".wv-spot", "cx") != place
            tab.check('input[value="us"]')
            assert "in up" in tab.inner_text(".result") and "in" in tab.inner_text(".wv-spot-words")
            tab.check('input[value="both"]')
            assert re.search(r"\d mm \([\d.]+ in\) up", tab.inner_text(".result"))
            wide = tab.evaluate("document.documentElement.scrollWidth")
            assert wide <= size[0]  # nothing sticks out to the side
            if size == browser.DESKTOP:
                tab.pdf(path=tmp_path / "report.pdf", prefer_css_page_size=True)
            assert heard.errors == [] and heard.outside == []
    pages = (tmp_path / "report.pdf").read_bytes().count(b"/Type /Page\n")
    assert pages >= 3


@pytest.mark.slow
def test_colours_of_text_have_contrast(tee, quick):
    """WCAG 2.1, 1.4.3: 4.5 to 1 for text; formula of that standard, asked of the page as drawn."""
    script = """() => {
      const read = (c) => c.match(/[\\d.]+/g).map(Number);
      const lum = ([r, g, b]) => [r, g, b].map((v) => v / 255).map((v) =>
        v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
        .reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
      const ground = (e) => { for (; e; e = e.parentElement) {
        const c = read(getComputedStyle(e).backgroundColor);
        if (c.length < 4 || c[3] > 0) return c; } return [255, 255, 255]; };
      const low = [];
      for (const e of document.querySelectorAll(
        "p, th, td, li, summary, label, button, h1, h2, legend")) {
        if (!e.textContent.trim() || !e.offsetParent) continue;
        const [a, b] = [lum(read(getComputedStyle(e).color)), lum(ground(e))].sort((x, y) => y - x);
        if ((a + 0.05) / (b + 0.05) < 4.5) low.push(e.textContent.trim().slice(0, 40));
      }
      return low; }"""
    with browser.page(write_report(tee.path)) as (tab, _):
        tab.wait_for_selector(".wv-spot")
        assert tab.evaluate(script) == []
