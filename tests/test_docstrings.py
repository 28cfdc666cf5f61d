"""Public names say what goes in and what comes out, in numpydoc's form.

Checked are the rooms in ROOMS and what `import weldsim` offers; what is asked of a
docstring is the list in pyproject.toml ([tool.numpydoc_validation]).
"""

import ast
import inspect
from pathlib import Path

import pytest

import weldsim
from tests.places import ROOT

pytest.importorskip("numpydoc")
from numpydoc.hooks.validate_docstrings import parse_config, process_file  # noqa: E402

ROOMS = ("case", "geometry", "measurements", "physics", "simulation", "system")
MODULES = sorted(p for room in ROOMS for p in (ROOT / "weldsim" / room).rglob("*.py"))
CONFIG = parse_config(ROOT)


def properties(path: Path) -> set[int]:
    """Lines on which a property begins: its first line is all the docstring it needs."""
    return {
        node.lineno
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef)
        and any("property" in ast.unparse(d) for d in node.decorator_list)
    }


def findings(path: Path) -> list[tuple[str, str]]:
    """Each shortcoming of a module: name, and what is asked for at which line."""
    lines = properties(path)
    found = []
    for place, name, code, text in process_file(path, CONFIG):
        line = int(place.rsplit(":", 1)[1])
        if not (code == "RT01" and line in lines):
            where = f"{path.relative_to(ROOT).as_posix()}:{line}"
            found.append((name, f"{where}: {name}: {code} {text}"))
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_public_names_are_documented(path):
    found = [text for _, text in findings(path)]
    assert not found, "\n".join(found)


@pytest.mark.parametrize("name", sorted(getattr(weldsim, "__all__", ())))
def test_what_the_package_offers_is_documented(name):
    offered = getattr(weldsim, name)
    if not (inspect.isclass(offered) or inspect.isfunction(offered)):
        assert name == "__version__" or inspect.getdoc(offered)
        return
    path = Path(inspect.getsourcefile(offered))
    own = f"{path.stem}.{offered.__name__}"
    found = [text for of, text in findings(path) if of == own or of.startswith(own + ".")]
    assert not found, "\n".join(found)
