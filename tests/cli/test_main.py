"""The command line as a person meets it: words, exit codes, and what is left on disk."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.cli.main import VERBS, app, load_verb
from weldsim.errors import WeldsimError
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
    file.write_text(text.replace('thickness = "6 mm"', 'thickness = "6 V"'), encoding="utf-8")
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


def test_a_mistyped_verb_is_told_the_nearest_and_loads_none():
    done = call("chekc", DEMO)
    assert done.exit_code == 2 and "check" in done.output.split("No such command", 1)[1]


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


def test_a_run_that_lacks_its_error_estimate_can_do_without(tmp_path):
    """Stopped in the coarser run: complete, but for the estimate it was to have."""
    case = load_case(DEMO, {"solve.grade": "quick", "solve.end": "2 s"})
    folder = run_case(case, tmp_path / "run", RunOptions(companion=False))
    for name, change in (
        ("run.json", {"error_estimate": {"how": PENDING, "values": {}}}),
        ("case.json", {"companion": True}),
    ):
        kept = json.loads((folder / name).read_text())
        (folder / name).write_text(json.dumps({**kept, **change}))
    done = start("run", "--resume", str(folder), "--no-companion", "--no-pictures")
    assert done.returncode == 0, done.stderr
    kept = json.loads((folder / "run.json").read_text())
    assert kept["status"] == "complete"
    assert kept["error_estimate"]["how"].startswith("not asked for")


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
    for words in ("flat bar 220 x 45 x 8 mm", "Welds, in order", "kJ/mm", "Mesh", "MB", "Cautions"):
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


def test_material_unknown(tmp_path):
    message = refused("material", "carbon-stell", "--plot", str(tmp_path / "x.png"))
    assert "carbon-steel" in message and list(tmp_path.iterdir()) == []


def test_version():
    from weldsim import __version__

    assert call("version").output.strip() == __version__


PRINTING = ("check", "run", "show", "report", "plan", "next", "why", "preset", "correct")


@pytest.mark.parametrize("verb", PRINTING)
def test_every_verb_that_prints_takes_units_and_knows_only_two(verb):
    option = next(p for p in load_verb(verb).params if p.name == "units")
    assert option.default == "metric"
    assert refused(verb, "x", "--units", "imperial") == (
        "--units 'imperial' is not allowed: write metric or us"
    )


def test_check_speaks_us_units_when_asked():
    """The bar of the demo is 8 mm thick and the target 4 m away: 0.31 in, 13.1 ft (25.4 mm)."""
    text = call("check", DEMO, "--units", "us").output
    assert "0.31 in" in text and "13.1 ft" in text and " mm" not in text
