"""The house keeps its plan: sizes of modules and functions, what may be imported where.

Which room may import which is checked by import-linter (`lint-imports`, contracts in
pyproject.toml).
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.places import ROOT

PACKAGE = ROOT / "weldsim"
MODULES = sorted(PACKAGE.rglob("*.py"))
MOST_LINES = 400  # of a module: read in one sitting
MOST_FUNCTION_LINES = 60  # of a function: one screen
# Compiled kernels: a call inside their innermost loops would be a call for every point.
KERNELS = {
    "physics/plasticity_kernels.py",
    "physics/gpu/mechanics_kernels.py",
    "physics/gpu/heat_kernels.py",
}


def named(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def own_imports(node: ast.AST) -> list[ast.ImportFrom | ast.Import]:
    """Import statements of this package anywhere below a node."""
    found: list[ast.ImportFrom | ast.Import] = []
    for inner in ast.walk(node):
        if isinstance(inner, ast.ImportFrom) and (inner.module or "").split(".")[0] == "weldsim":
            found.append(inner)
        if isinstance(inner, ast.Import) and any(
            alias.name.split(".")[0] == "weldsim" for alias in inner.names
        ):
            found.append(inner)
    return found


@pytest.mark.parametrize("path", MODULES, ids=named)
def test_a_module_is_read_in_one_sitting(path):
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= MOST_LINES, f"{named(path)} has {lines} lines, allowed: {MOST_LINES}"


@pytest.mark.parametrize("path", MODULES, ids=named)
def test_a_function_fits_on_a_screen(path):
    if named(path) in KERNELS:
        pytest.skip("compiled kernels")
    tree = ast.parse(path.read_text(encoding="utf-8"))
    long = [
        f"{f.name} ({f.end_lineno - f.lineno + 1} lines)"
        for f in functions(tree)
        if f.end_lineno - f.lineno + 1 > MOST_FUNCTION_LINES
    ]
    assert not long, f"{named(path)}: {', '.join(long)}, allowed: {MOST_FUNCTION_LINES}"


@pytest.mark.parametrize("path", MODULES, ids=named)
def test_own_modules_are_imported_at_the_top(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    hidden = {i.lineno: ast.unparse(i) for f in functions(tree) for i in own_imports(f)}
    assert not hidden, f"{named(path)}: inside functions: {'; '.join(hidden.values())}"


@pytest.mark.parametrize("path", MODULES, ids=named)
def test_no_private_name_is_imported(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    private = [
        f"{alias.name} of {i.module}"
        for i in own_imports(tree)
        if isinstance(i, ast.ImportFrom)
        for alias in i.names
        if alias.name.startswith("_") and not alias.name.startswith("__")
    ]
    assert not private, f"{named(path)} imports {', '.join(private)}"
