"""README's commands are the ones that exist."""

import csv
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


def test_oldest_versions_are_the_least_that_the_project_allows():
    """`.ci/other_versions oldest` proves what pyproject.toml claims, not something newer."""
    from packaging.requirements import Requirement
    from packaging.utils import canonicalize_name
    from packaging.version import Version

    lines = (ROOT / ".ci/constraints-oldest.txt").read_text(encoding="utf-8").splitlines()
    pinned = {canonicalize_name(n): v for n, _, v in (line.partition("==") for line in lines)}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    for text in (*project["dependencies"], *extras["fast"]):
        requirement = Requirement(text)
        (least,) = (s.version for s in requirement.specifier if s.operator == ">=")
        found = Version(pinned[canonicalize_name(requirement.name)])
        assert found.release[: len(Version(least).release)] == Version(least).release, text


def demo_end(grade) -> tuple[float, float, float, float]:
    """Up, left [mrad], up, left [mm] at the end of the demo case, as tests/regression keeps it."""
    file = ROOT / "tests" / "regression" / "test_demos" / f"pivot_arm-{grade}.csv"
    with file.open(encoding="utf-8", newline="") as lines:
        (row,) = csv.DictReader(lines)
    up, right = (
        tuple(float(row[f"pointer_{d}_{u}"]) for u in ("mrad", "mm")) for d in ("up", "right")
    )
    return up[0], -right[0], up[1], -right[1]


def stated(pattern) -> list[str]:
    """Numbers of a sentence of the README, whose words may be divided by line ends."""
    found = re.search(pattern.replace(" ", r"\s+"), README)
    assert found, pattern
    return list(found.groups())


def as_said(values, words) -> list[str]:
    """Values rounded to as many decimals as the words beside them have."""
    decimals = [len(word.partition(".")[2]) for word in words]
    return [f"{value:.{n}f}" for value, n in zip(values, decimals, strict=True)]


SPOT = r"about (\d+) mm up and (\d+) mm left on the target 4 m away"
ERROR = r"the estimated error it prints beside them is about (\d+) and (\d+) mm"


def test_the_demo_ends_where_the_readme_says():
    """At grade quick, and with the error estimate a run prints: its distance to grade coarse."""
    up, left, up_mm, left_mm = demo_end("quick")
    said = stated(SPOT + r" \((\S+) and (\S+) mrad\)")
    assert said == as_said((up_mm, left_mm, up, left), said)
    _, _, coarse_up, coarse_left = demo_end("coarse")
    error = stated(ERROR)
    assert error == as_said((abs(up_mm - coarse_up), abs(left_mm - coarse_left)), error)


def test_the_finer_run_of_the_readme_lies_within_the_error_of_the_quick_one():
    """Nobody waits for grade normal in a test; its numbers have to agree with those beside them."""
    normal = stated(r"The normal grade gave (\d+) mm up and (\d+) mm left")
    for fine, rough, allowed in zip(normal, stated(SPOT), stated(ERROR), strict=True):
        assert abs(float(fine) - float(rough)) <= float(allowed)


def test_the_validation_is_summed_up_as_it_was_kept():
    """Count and date of the record that comes with the package, and every row that fails or is not
    claimed."""
    from weldsim.validation.kept import kept_validation

    record, said = kept_validation(), " ".join(README.split())
    assert f"`weldsim validate --quick` on {record['date']}: **{record['summary']}**" in said
    assert record["quick"]
    left = [r["title"] for r in record["rows"] if r["state"] in ("fails", "not claimed")]
    for title in left:
        assert f"**{title}**" in said, title


def test_the_kept_validation_is_of_checks_that_exist():
    from weldsim.validation.catalogue import CHECKS
    from weldsim.validation.kept import kept_validation

    names = {c.name for c in CHECKS}
    assert {r["name"].partition("/")[0] for r in kept_validation()["rows"]} <= names
