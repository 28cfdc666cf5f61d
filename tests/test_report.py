"""report.html: whole in itself, words first, cautions in, nothing from outside."""

import base64
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
import synthetic_run as invented

from weldsim.cautions import CAUTIONS, DEFER
from weldsim.errors import StoreError
from weldsim.joints import KINDS
from weldsim.readback import read_run
from weldsim.report import CHECKED, VALIDATION, assumptions, rule_words, write_report

# one pixel, PNG of the W3C test suite kind: enough to see it arrive in the page
PIXEL = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)


class Reader(HTMLParser):
    """Collects the text, the addresses, and tags left open."""

    EMPTY = ("meta", "img", "br", "link", "input", "hr")

    def __init__(self):
        super().__init__()
        self.words, self.addresses, self.tags, self.open = [], [], [], []

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.addresses += [v for k, v in attributes if k in ("src", "href", "xlink:href", "data")]
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        if tag not in self.EMPTY:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


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
    assert not re.search(r"https?:|//[a-z]+\.[a-z]", re.sub(r'base64,[^"]*"', '"', text))
    for address in read(page).addresses:
        assert address.startswith(("#", "data:image/"))
    assert not {"script", "link", "iframe", "object"} & set(read(page).tags)


def test_page_is_well_formed_and_holds_the_plots(page):
    reader = read(page)
    assert reader.open == []
    assert reader.tags.count("svg") == 3  # timetable, gauges, light spot


def test_pictures_arrive_whole(page):
    found = re.findall(r"data:image/png;base64,([^\"]+)", page.read_text(encoding="utf-8"))
    assert [base64.b64decode(f) for f in found] == [PIXEL, PIXEL]


def test_words_come_first_then_certainty_then_numbers(page):
    text = " ".join(" ".join(read(page).words).split())
    order = ["The pointer ends", "How sure", "coarser grade", "Timetable", "Welds", "Books",
             "What it rests on", "What it was compared with", "Before you weld"]  # fmt: skip
    places = [text.index(word) for word in order]
    assert places == sorted(places)
    assert "has not been compared with measurements" in text
    assert "Careful: invented: for tests" in text


def test_every_check_the_report_names_is_in_the_tests(page):
    """No claim without a test: the file is there and names the source it is checked against."""
    text = " ".join(" ".join(read(page).words).split())
    folder = Path(__file__).parent / "verification"
    for name, source, file in CHECKED:
        assert f"{name} ({source})" in text
        words = (folder / f"{file}.py").read_text(encoding="utf-8")
        assert source.partition(",")[0].split()[0] in words


def test_cautions_and_who_decides_are_in(page):
    text = " ".join(" ".join(read(page).words).split())
    for line in (*CAUTIONS, DEFER):
        assert " ".join(line.split()) in text


def test_tables_hold_the_run(page):
    text = page.read_text(encoding="utf-8")
    for cell in ("TIG (141)", ">1.38<", ">0.83<", ">152<", "85.00 kJ", "solve.grade=quick"):
        assert cell in text


def test_text_from_the_case_cannot_break_the_page(tmp_path):
    folder = invented.write_run(tmp_path / "odd", frames=(0.0,))
    manifest = folder.read_json("run.json")
    manifest["title"] = "<script>alert(1)</script> & 6 < 7"
    folder.write_json("run.json", manifest)
    reader = read(write_report(folder.path))
    assert "script" not in reader.tags and reader.open == []
    assert any("<script>alert(1)</script> & 6 < 7" in w for w in reader.words)


def test_an_unfinished_run_says_so(tmp_path):
    folder = invented.write_run(tmp_path / "half", frames=(0.0,))
    (folder.path / "summary.json").unlink()
    (folder.path / "run.json").unlink()
    manifest = invented.manifest("stopped")
    del manifest["balances"], manifest["error_estimate"]
    manifest["timetable"] = [{"name": "A", "start": 0.0, "end": None}]
    folder.write_json("run.json", manifest)
    text = " ".join(" ".join(read(write_report(folder.path)).words).split())
    assert "This run is stopped" in text and "--resume" in text
    assert "Discretisation error: not estimated" in text


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
    return " ".join(" ".join(read(write_report(tee.path)).words).split())


def test_layout_stands_after_the_words_and_only_there(tee, tee_page):
    text = (tee.path / "report.html").read_text(encoding="utf-8")
    assert text.count("data:image/png;base64,") == 1
    order = ["clamp saddle", "The part as meshed, with the order", "How sure"]
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
    assert "jig off at 40 s, which moved pointer up -9.83 mm" in tee_page


def test_a_bar_in_a_vise_has_no_clamp_table(page):
    text = page.read_text(encoding="utf-8")
    assert "<h2>Clamps</h2>" not in text and "<h2>Locked in</h2>" not in text


def test_assumptions_go_by_what_the_case_has(tee):
    record = read_run(tee.path)
    lines = " ".join(assumptions(record))
    for words in ("Tacks are there from the start, cold and without stress.", "laid with the arc",
                  "without friction and pass no heat", "A spring clamp pulls back", "rigid clamp",
                  "lets go at once", "preset is a lean", "film of 60 W/m²/K"):  # fmt: skip
        assert words in lines
    case = record.case
    case["tacks"], case["clamps"], case["preset"] = [], [], [0.0, 0.0, 0.0]
    del case["cooling_film"], case["part"]["penetration"]
    lines = " ".join(assumptions(record))
    assert "No tack welds" in lines and "Nothing holds the part" in lines
    for words in ("from the start, cold", "friction", "spring", "rigid", "preset", "Forced"):
        assert words not in lines


def test_every_joint_says_that_it_was_not_measured():
    assert set(VALIDATION) == set(KINDS)
    assert all("has not been compared with measurements" in v for v in VALIDATION.values())


def test_start_rules_in_words():
    rule = {"kind": "below", "seconds": 0.0, "weld": "front", "temperature": 423.15}
    assert rule_words(rule, "") == "when front is below 150 °C"
    assert rule_words({**rule, "kind": "cold"}, "") == "when the part is cold"
    assert rule_words({**rule, "kind": "time", "seconds": 90.0}, "") == "at 90 s"
    assert rule_words(None, "from the start") == "from the start"
