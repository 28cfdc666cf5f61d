"""The bench sheet: travel toward what is seen, readings before the next arc, boxes, cautions."""

import numpy as np
import pytest

from tests.places import CASES
from tests.studies.small import small_plan
from weldsim.case.load import load_case
from weldsim.joints.registry import seams_of
from weldsim.report import plan_sheet
from weldsim.report.bench_figure import sheet_pages, write_sheet
from weldsim.report.bench_sheet import NO_SPREAD, SCALED, bench_sheet, scaled_errors
from weldsim.schema.column import Column
from weldsim.text.cautions import APPROVES_NOTHING, CAUTIONS
from weldsim.text.travel_words import travel_words

STUB, SADDLE = CASES / "mast_stub.toml", CASES / "mast_saddle.toml"
UP, RIGHT = Column("pointer", "up", "mm"), Column("pointer", "right", "mm")


def travels(path, *changes):
    case = load_case(path, changes)
    seams = zip(case.welds, seams_of(case), strict=True)
    return {w.seam: travel_words(case, w, seam) for w, seam in seams}


@pytest.fixture
def stub():
    """The stub's sheet: 25.4 mm up after each weld, 12.7 mm left after the second on."""
    case = load_case(STUB)
    readings = [{UP: 25.4e-3, RIGHT: -12.7e-3 * bool(n)} for n in range(len(case.welds))]
    errors = [{UP: 1.2e-3, RIGHT: 0.5e-3}] * len(readings)
    return bench_sheet(case, "run stub", readings, errors, ["It ends 25 mm over 5 m."], SCALED)


def text_of(figure):
    return " ".join(t.get_text() for t in figure.axes[0].texts).replace("\n", " ")


def test_travel_is_toward_what_is_seen_there():
    """-y is up on the stub and the chord runs along +x (its case file); front and back face y."""
    order = 'schedule.order=["front:+x", "back:-x", "left:-y", "right:+y"]'
    found = travels(STUB, order)
    assert found["front"] == "toward the chord end" and found["back"] == "toward the chord start"
    assert found["left"].startswith("upward, toward the ")
    assert found["right"].startswith("downward, toward the ")
    assert {found["left"].split()[-2], found["right"].split()[-2]} == {"front", "back"}


def test_around_a_tube_the_sense_is_as_seen_from_an_end(tmp_path):
    """The words of the case, clockwise and counterclockwise, hold as seen from the branch end."""
    for word in ("clockwise", "counterclockwise"):
        order = ", ".join(f'"{s}:{word}"' for s in ("front", "back", "left", "right"))
        found = travels(SADDLE, f"schedule.order=[{order}]")
        assert set(found.values()) == {f"{word}, seen from the branch end"}


def test_each_weld_has_its_settings_and_what_should_be_read(stub):
    first, second = stub.steps[:2]
    assert first.number == 1 and first.starts == "first" and "A, " in first.arc
    assert "mm/s" in first.arc and "in/min" in first.arc.text("us")
    assert first.expected[0].text("us") == "1.00 in up ±0.047 in\n0.000 in right ±0.020 in"
    assert second.expected[0] == "25 mm up ±1.2 mm\n12.7 mm left ±0.5 mm"
    assert stub.gauges[0].sides == ("up", "right")
    assert stub.marks == ("chord start", "chord end")


def test_without_errors_nothing_is_said_to_be_within_them(stub):
    case = load_case(STUB)
    bare = bench_sheet(case, "x", [{UP: 1e-3}] * 4, [None] * 4, [], SCALED)
    assert bare.spread == NO_SPREAD and "±" not in bare.steps[0].expected[0]
    assert "±" not in bare.how_to_read and "farther off than ±" in stub.how_to_read
    assert stub.spread == SCALED


def test_errors_grow_with_how_far_out_the_part_stands():
    """Twice as far out as at the end, twice the error; nearer than the end, that of the end."""
    end, errors = {UP: 3e-3, RIGHT: 4e-3}, {UP: 1e-3, RIGHT: 0.5e-3}
    far = scaled_errors({UP: 6e-3, RIGHT: 8e-3}, end, errors)
    assert far == pytest.approx({UP: 2e-3, RIGHT: 1e-3})
    assert scaled_errors({UP: 0.0, RIGHT: 1e-3}, end, errors) == pytest.approx(errors)


@pytest.mark.parametrize(("units", "size"), [("metric", (210, 297)), ("us", (215.9, 279.4))])
def test_it_is_printed_on_the_paper_of_its_units(stub, units, size):
    """A4 (ISO 216) and Letter (ANSI Y14.1), to half a millimetre."""
    (figure,) = sheet_pages(stub, None, units)
    assert 25.4 * figure.get_size_inches() == pytest.approx(size, abs=0.5)
    text = text_of(figure)
    for line in (APPROVES_NOTHING, "Date", "Welder", "chord end is at", "before the next arc"):
        assert line in text
    assert all(word.split(":")[0] in text for word in CAUTIONS)
    boxes = [line for line in figure.axes[0].lines if len(line.get_xdata()) == 5]
    assert len(boxes) == 2 + 2 * len(stub.steps)  # before welding, and after each weld


def test_many_welds_go_over_several_pages_and_none_is_lost(stub):
    from dataclasses import replace

    steps = tuple(replace(stub.steps[0], number=n, weld=f"weld{n}") for n in range(1, 31))
    pages = sheet_pages(replace(stub, steps=steps), None)
    text = " ".join(map(text_of, pages))
    assert len(pages) > 1 and all(f"weld{n} " in text for n in range(1, 31))
    for page in pages:
        low = max(np.max(line.get_ydata()) for line in page.axes[0].lines)
        assert low <= page.get_size_inches()[1]


def test_it_is_written_whole(stub, tmp_path):
    path = write_sheet(stub, tmp_path / "sheet.pdf")
    assert path.read_bytes().startswith(b"%PDF") and list(tmp_path.iterdir()) == [path]


def test_the_errors_of_a_study_are_its_rows_and_the_shops_and_the_own_shift_is_said(monkeypatch):
    """By hand: a row's 2 mrad and 1.5 mrad of the shop's spread are 2.5 mrad together, 5 mm on a
    target 2 m away; of a spot at 10.3 mm a tilt of 5 mrad makes 10 mm."""
    plan = small_plan()
    spot, tilt = (Column("pointer", "up", unit) for unit in ("mm", "mrad"))
    end = {spot: 10.3e-3, tilt: 5e-3}
    monkeypatch.setattr(plan_sheet, "stages", lambda *_: [{spot: 20.6e-3, tilt: 10e-3}, end])
    row = {"moves": [["front", 1], ["back", -1]], "setting": [], "confirmed": None, "error": 2.0}
    record = {
        "rows": [row], "words": ["weld", "it ends 10 mm up"], "words_us": ["weld", "0.394 in up"],
        "shop_spread_sizes": {"up": 1.5, "right": 1.5},
    }  # fmt: skip
    sheet = plan_sheet.sheet_of_record(plan, record, "study")
    assert [step.expected[0] for step in sheet.steps] == ["21 mm up ±10 mm", "10 mm up ±5 mm"]
    assert "the shop's spread" in sheet.spread and sheet.answer[0].text("us") == "0.394 in up."
    assert "the end's own shift as well, in the end 0.30 mm up" in sheet.answer[1]
