"""README's commands are the ones that exist."""

import re
import tomllib

from tests.places import ROOT
from weldsim import bootstrap

README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = re.findall(r"^python3 (\S+) (\S+)", README, flags=re.MULTILINE)


def test_two_commands_one_for_the_job_one_for_the_tests():
    assert COMMANDS[:2] == [("weldsim/bootstrap.py", "demo"), ("weldsim/bootstrap.py", "test")]


def test_every_set_up_command_is_a_verb_of_the_script():
    for script, verb in COMMANDS:
        assert (ROOT / script).is_file()
        assert verb in bootstrap.VERBS


def test_the_demo_case_is_there_and_named():
    assert bootstrap.DEMO_CASE in README
    assert (ROOT / bootstrap.DEMO_CASE).is_file()


def test_case_files_named_in_the_readme_exist():
    named = set(re.findall(r"cases/\w+\.toml", README))
    assert named
    for name in named:
        assert (ROOT / name).is_file(), name


def test_the_system_packages_named_are_those_looked_for():
    for package in bootstrap.LIBRARIES.values():
        assert package in README


def test_the_extras_asked_for_exist():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    for wanted in bootstrap.EXTRAS.values():
        assert set(wanted) <= set(extras)


def test_committed_versions_are_names_and_numbers_only():
    lines = (ROOT / ".ci/constraints.txt").read_text(encoding="utf-8").splitlines()
    assert lines
    for line in lines:
        assert re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.]+", line), line


def test_committed_versions_cover_and_satisfy_the_direct_dependencies():
    from packaging.requirements import Requirement
    from packaging.utils import canonicalize_name

    pinned = {}
    for line in (ROOT / ".ci/constraints.txt").read_text(encoding="utf-8").splitlines():
        name, version = line.split("==")
        pinned[canonicalize_name(name)] = version
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    for text in (*project["dependencies"], *extras["fast"], *extras["test"]):
        requirement = Requirement(text)
        version = pinned[canonicalize_name(requirement.name)]
        assert requirement.specifier.contains(version), text
