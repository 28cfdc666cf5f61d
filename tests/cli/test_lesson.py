"""Lessons are found, listed, and put where their cases are; nothing of the reader's is lost."""

import json

import pytest
from typer.testing import CliRunner

from tests.places import ROOT
from weldsim.cli import lesson
from weldsim.cli.main import app
from weldsim.errors import WeldsimError
from weldsim.system.examples import example_cases, lessons


def test_all_notebooks_and_cases_of_the_project_are_found():
    assert [ls.path.name for ls in lessons()] == sorted(p.name for p in ROOT.glob("notebooks/*.py"))
    assert [p.name for p in example_cases()] == sorted(p.name for p in ROOT.glob("cases/*.toml"))
    assert all(ls.title and ls.summary for ls in lessons())


def test_readme_names_every_notebook():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert [ls.name for ls in lessons() if ls.name not in text] == []


def test_lessons_are_listed():
    shown = CliRunner().invoke(app, ["lesson"]).output
    assert all(ls.name in shown for ls in lessons())


def test_a_lesson_is_a_notebook_beside_its_cases(tmp_path, monkeypatch):
    pytest.importorskip("jupytext")
    monkeypatch.setattr(lesson, "NEEDED", ("jupytext",))
    result = CliRunner().invoke(app, ["lesson", "2", "--folder", str(tmp_path), "--no-open"])
    assert result.exit_code == 0, result.output
    (path,) = (tmp_path / "notebooks").glob("*.ipynb")
    assert json.loads(path.read_text(encoding="utf-8"))["cells"]
    assert (tmp_path / "cases" / "mast_stub.toml").is_file()
    path.write_text("mine")
    CliRunner().invoke(app, ["lesson", "2", "--folder", str(tmp_path), "--no-open"])
    assert path.read_text() == "mine"


def test_without_jupyter_one_line_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setattr(lesson, "NEEDED", ("jupytext", "no_such_module"))
    with pytest.raises(WeldsimError, match=r"no_such_module .* pip install") as error:
        lesson.command(lessons()[0].name, tmp_path, True)
    assert "\n" not in str(error.value) and list(tmp_path.iterdir()) == []
    lesson.command(lessons()[0].name, tmp_path, False)  # put down for later, Jupyter or none
    assert list(tmp_path.rglob("*.ipynb"))


def test_a_misspelt_lesson_names_those_there_are():
    with pytest.raises(WeldsimError, match="did you mean 03_plan_the_tee"):
        lesson.command("plan_the_te")
