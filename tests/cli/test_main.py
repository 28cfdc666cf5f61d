"""The command line as a person meets it: words, exit codes, and what is left on disk."""

import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from rich.console import Console
from typer.testing import CliRunner

from tests.places import CASES
from tests.synthetic_run import write_run
from weldsim.case.load import load_case
from weldsim.cli.help_words import help_text
from weldsim.cli.main import NAMED, VERBS, app, load_verb
from weldsim.cli.terminal import show
from weldsim.errors import WeldsimError
from weldsim.materials.shelf import list_materials
from weldsim.physics.gpu.card import why_no_card
from weldsim.runs.reading import PENDING
from weldsim.runs.runner import RunOptions, run_case

DEMO = str(CASES / "pivot_arm.toml")


def call(*args):
    return CliRunner().invoke(app, list(args))


def start(*args, cwd=None):
    """weldsim as a program of its own, from any folder."""
    path = os.pathsep.join(p for p in (str(CASES.parent), os.environ.get("PYTHONPATH")) if p)
    return subprocess.run(
        [sys.executable, "-m", "weldsim", *args],
        capture_output=True,
        text=True,
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": path},
    )


def refused(*args):
    done = call(*args)
    assert isinstance(done.exception, WeldsimError), done.output
    return str(done.exception)


@pytest.fixture
def bad(tmp_path):
    """A case with one mistake, alone in its folder."""
    file = tmp_path / "bad.toml"
    text = Path(DEMO).read_text(encoding="utf-8")
    file.write_text(text.replace('thickness = "8 mm"', 'thickness = "6 V"'), encoding="utf-8")
    return file


def test_help_lists_every_verb():
    done = call("--help")
    assert done.exit_code == 0
    shown = [line.strip("│ ").split(" ")[0] for line in done.output.splitlines()]
    assert set(VERBS) <= set(shown)


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_explains_itself(verb):
    done = call(verb, "--help")
    assert done.exit_code == 0 and "Usage" in done.output


@pytest.mark.parametrize("verb", VERBS)
def test_the_table_of_verbs_says_what_the_verb_says(verb):
    assert " ".join(load_verb(verb).help.split()) == VERBS[verb]


def test_help_keeps_the_name_of_a_section_and_answers_to_h():
    assert "Case file with a [plan] section (required)." in call("plan", "--help").output
    assert call("plan", "-h").output == call("plan", "--help").output
    assert call("-h").output == call("--help").output


@pytest.mark.parametrize("verb", VERBS)
def test_help_says_defaults_plainly(verb):
    text = " ".join(call(verb, "--help").output.split())
    assert not re.search(r"\belse[.;)]|when left out", text)


def test_the_old_name_of_the_error_estimate_is_refused_with_the_new_one():
    done = call("run", DEMO, "--companion")
    assert "no option --companion, it is called --error-estimate now" in done.output


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("run CASE --grad quick", "weldsim run: no option --grad, did you mean --grade?"),
        ("runn CASE", "weldsim: no command runn, did you mean run?"),
        ("xyzzy", "weldsim: no command xyzzy; what there is: weldsim -h"),
        ("serve --port 99999", "weldsim serve: --port 99999: must be less than or equal to 65535"),
        ("band CASE --runs=ab", "weldsim band: --runs ab: must be a valid integer"),
        ("plan CASE", "weldsim plan: --out is missing (study folder; one that is"),
        ("sheet", "weldsim sheet: FOLDER is missing (run folder, or study folder"),
        ("run --out", "weldsim: --out: needs a value"),
        ("version a", "weldsim version: got unexpected extra argument"),
    ],
)
def test_a_wrong_command_line_is_one_line_with_a_hint(words, said):
    words = [DEMO if w == "CASE" else w for w in words.split()]
    done = CliRunner().invoke(app, words, prog_name="weldsim")
    assert done.exit_code == 2 and done.output.count("\n") == 1 and said in done.output


@pytest.mark.parametrize(
    ("theirs", "ours"),
    [
        ("Runs at most.  [default: 4; 2<=x<=10]", "Runs at most (2 to 10; default: 4)."),
        (
            "Processes (default: one a core).  [x>=1]",
            "Processes (at least 1; default: one a core).",
        ),
        ("Port.  [default: 8716; 0<=x<=65535]", "Port (0 to 65535; default: 8716)."),
        ("Run folder.  [required]", "Run folder (required)."),
        ("A section such as [plan]", "A section such as [plan]"),
    ],
)
def test_help_says_bounds_and_defaults_in_words(theirs, ours):
    assert help_text(theirs) == ours


def test_no_help_names_a_type_of_the_language():
    for verb in VERBS:
        text = call(verb, "--help").output
        assert not re.search(r"<\w|list\[|x>=|<=x", text), verb


def test_a_device_that_is_not_there_is_refused_before_anything_else():
    assert "--device 'foo' is not allowed: write auto, cpu, gpu" in refused(
        "serve", "--device", "foo"
    )
    if why_no_card():
        text = refused("run", "nowhere.toml", "--device", "gpu")
        assert text.startswith("--device gpu: ") and "allowed: auto, cpu" in text


def test_a_grade_is_an_option_wherever_something_is_run():
    for verb in ("run", "plan", "next", "why", "band", "preset", "correct", "fit"):
        assert "--grade" in call(verb, "--help").output, verb
    said = refused("run", DEMO, "--grade", "rough")
    assert said == "--grade 'rough' is not allowed: write sketch, coarse, quick, normal, fine"
    assert "leave out --set, --grade" in refused("run", "--resume", "x", "--grade", "quick")


def test_cautions_are_one_line_unless_asked_for():
    short, whole = call("check", DEMO).output, call("check", DEMO, "--cautions").output
    assert short.count("Caution") == 1 and "Gas cylinders" not in short
    assert "Cautions:" in whole and "Gas cylinders" in whole


def test_a_terminal_gets_wrapped_lines_and_colours():
    def shown(width, terminal):
        out = io.StringIO()
        show(
            "  The beam ends 12.3 mm up: outside, tolerance 1 mrad of what was asked for.",
            Console(file=out, width=width, force_terminal=terminal, color_system="standard"),
        )
        return out.getvalue()

    lines = re.sub(r"\x1b\[[\d;]*m", "", shown(40, True)).splitlines()
    assert len(lines) > 1 and max(map(len, lines)) <= 40
    assert lines[0].startswith("  The beam") and lines[1].startswith("    ")
    assert "\x1b[" in shown(40, True)


def test_a_page_of_another_kind_and_a_run_named_twice_are_refused(tmp_path):
    for verb, name, allowed in (("report", "x.pdf", ".html"), ("sheet", "x.png", ".pdf")):
        said = refused(verb, str(tmp_path), "--out", str(tmp_path / name))
        assert said.endswith(f"is not allowed: write a name ending in {allowed}")
    run = write_run(tmp_path / "run").path
    twice = refused("report", str(run), f"{run}/../run")
    assert twice.endswith("named twice, allowed: each run once")


def test_a_sentence_is_not_taken_for_an_option():
    """A refusal begins with an argument and its value, "tolerance: '1 kg'", or it is a sentence."""
    assert NAMED.match("tolerance: '1 kg' is not allowed") and NAMED.match("gauge 'dial' reads")
    assert NAMED.match("runs 3 is not allowed")
    assert not NAMED.match("workers die as soon as they start")


def test_a_mistyped_verb_is_told_the_nearest_and_loads_none():
    done = call("chekc", DEMO)
    assert done.exit_code == 2 and "did you mean check?" in done.output


def test_no_heavy_library_is_loaded_to_start():
    heavy = "numpy scipy skfem gmsh pyvista matplotlib pint numba".split()
    code = f"import weldsim.cli.main, sys; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.strip() == "[]", done.stderr


def test_a_bad_case_is_one_line_exit_code_2_and_nothing_written(bad, tmp_path):
    done = start("run", "bad.toml", "--out", "made", cwd=tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert line.startswith("bad.toml [part] thickness: '6 V' is not a length; allowed: a length")
    assert list(tmp_path.iterdir()) == [bad]


def test_an_unexpected_word_is_exit_code_2():
    assert start("chek", DEMO).returncode == 2


@pytest.mark.parametrize("verb", ["check", "run"])
def test_a_missing_file_is_named(verb):
    assert refused(verb, "nosuch.toml") == "nosuch.toml: cannot be read: No such file or directory"


def test_run_wants_a_case_or_a_stopped_run():
    words = "give either a case file, or --resume"
    assert words in refused("run")
    assert words in refused("run", DEMO, "--resume", "runs/arm")


def test_a_stopped_run_goes_on_as_it_was(tmp_path):
    message = refused("run", "--resume", str(tmp_path), "--set", "solve.grade=quick")
    assert "leave out --set" in message


@pytest.mark.slow
def test_a_run_that_lacks_its_error_estimate_can_do_without(tmp_path):
    """Stopped in the coarser run: complete, but for the estimate it was to have."""
    case = load_case(DEMO, {"solve.grade": "quick", "solve.end": "2 s"})
    folder = run_case(case, tmp_path / "run", RunOptions(error_estimate=False))
    for name, change in (
        ("run.json", {"error_estimate": {"how": PENDING, "values": {}}}),
        ("case.json", {"error_estimate": True}),
    ):
        kept = json.loads((folder / name).read_text())
        (folder / name).write_text(json.dumps({**kept, **change}))
    done = start("run", "--resume", str(folder), "--no-error-estimate", "--no-pictures")
    assert done.returncode == 0, done.stderr
    kept = json.loads((folder / "run.json").read_text())
    assert kept["status"] == "complete"
    assert kept["error_estimate"]["how"].startswith("none: no second run")


def test_resume_of_a_folder_that_is_no_run(tmp_path):
    assert str(tmp_path) in refused("run", "--resume", str(tmp_path))
    assert list(tmp_path.iterdir()) == []


def test_show_of_a_folder_that_is_no_run(tmp_path):
    done = start("show", str(tmp_path))
    assert done.returncode == 2 and len(done.stderr.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_check_says_what_would_be_simulated_and_writes_nothing(tmp_path):
    done = start("check", DEMO, cwd=tmp_path)
    assert done.returncode == 0 and done.stderr == ""
    for words in (
        "flat bar 220 x 45 x 8 mm",
        "Welds in sequence",
        "kJ/mm",
        "Mesh",
        "MB",
        "Caution: ",
    ):
        assert words in done.stdout
    assert list(tmp_path.iterdir()) == []


def test_check_takes_changes():
    done = call("check", DEMO, "--set", "weld.A.current=120 A", "--set", "solve.grade=quick")
    assert done.exit_code == 0
    assert "120 A" in done.output and "grade quick" in done.output


def test_check_reports_all_mistakes():
    changes = ("--set", "part.width=40", "--set", "weld.B.at=300 mm")
    assert len(refused("check", DEMO, *changes).splitlines()) == 2


def test_new_writes_a_starter_and_leaves_what_is_there(tmp_path):
    done = start("new", "bar", cwd=tmp_path)
    file = tmp_path / "bar.toml"
    assert done.returncode == 0 and "bar.toml" in done.stdout
    assert start("check", "bar.toml", cwd=tmp_path).returncode == 0
    file.write_text("mine")
    again = start("new", "bar", cwd=tmp_path)
    assert again.returncode == 2 and "already there" in again.stderr
    assert file.read_text() == "mine"


def test_new_of_an_unknown_kind(tmp_path):
    message = refused("new", "bra", "--out", str(tmp_path / "x.toml"))
    assert "did you mean bar?" in message and "allowed: bar" in message
    assert list(tmp_path.iterdir()) == []


def test_new_into_a_folder_that_is_not_there(tmp_path):
    assert "cannot be written" in refused("new", "bar", "--out", str(tmp_path / "no" / "x.toml"))


def test_material_prints_and_plots(tmp_path):
    picture = tmp_path / "steel.png"
    done = call("material", "carbon-steel", "--plot", str(picture))
    assert done.exit_code == 0, done.output
    assert "EN 1993-1-2" in done.output and "yield" in done.output
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_a_layout_is_a_png_and_nothing_else(tmp_path):
    message = refused("check", DEMO, "--picture", str(tmp_path / "part.xyz"))
    assert "'.xyz' is not allowed: write .png" in message and list(tmp_path.iterdir()) == []


def test_distance_of_a_target_is_a_length(tmp_path):
    message = refused("target", "--out", str(tmp_path / "t.pdf"), "--distance", "4 kg")
    assert message.startswith("--distance '4 kg' is not a length")
    assert list(tmp_path.iterdir()) == []


def test_help_states_a_default_once_and_in_one_way():
    for verb in VERBS:
        said = " ".join(call(verb, "--help").output.split())
        assert not re.search(r"[,.] [Dd]efault:|\[default|default:[^()]*default:", said), verb


def test_material_unknown(tmp_path):
    message = refused("material", "carbon-stell", "--plot", str(tmp_path / "x.png"))
    assert "carbon-steel" in message and list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("said", "name"),
    [("S235", "carbon-steel"), ("S355", "carbon-steel"), ("steel", "carbon-steel"),
     ("mild-steel", "carbon-steel"), ("304", "stainless-304"), ("6061", "aluminium-6061-t6")],
)  # fmt: skip
def test_a_metal_by_the_name_people_have_for_it_finds_the_nearest(said, name, tmp_path):
    done = call("material", said, "--plot", str(tmp_path / "curves.png"))
    assert f"There is no {said} here; the nearest is {name}" in done.output.replace("\n", " ")
    assert f"did you mean {name}?" in refused("check", DEMO, "--set", f'part.material="{said}"')


def test_material_refuses_a_picture_before_it_prints(tmp_path):
    message = refused("material", "carbon-steel", "--plot", str(tmp_path / "x.xyz"))
    assert "ending '.xyz' is not allowed: write .png, .svg, .pdf" in message
    nowhere = tmp_path / "no folder" / "x.png"
    assert f"{nowhere}: could not be written" in refused(
        "material", "carbon-steel", "--plot", str(nowhere)
    )


def test_materials_are_listed():
    done = call("material")
    assert [line.partition(":")[0] for line in done.output.splitlines()] == [*list_materials()]


@pytest.mark.parametrize("asked", [("--version",), ("version",)])
def test_version(asked):
    from weldsim import __version__

    assert call(*asked).output.strip() == __version__


PRINTING = ("check", "run", "show", "report", "plan", "next", "why", "preset", "correct")


@pytest.mark.parametrize("verb", PRINTING)
def test_every_verb_that_prints_takes_units_and_knows_only_two(verb):
    option = next(p for p in load_verb(verb).params if p.name == "units")
    assert option.default == "metric"
    assert refused(verb, "x", "--units", "imperial") == (
        "--units 'imperial' is not allowed: write metric or us"
    )


def test_check_speaks_us_units_when_asked():
    """The bar of the demo is 8 mm thick and the target 4 m away: 0.315 in, 13.1 ft (25.4 mm)."""
    text = call("check", DEMO, "--units", "us").output
    assert "0.315 in" in text and "13.1 ft" in text and " mm" not in text
