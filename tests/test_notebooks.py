"""Every notebook runs from its first cell to its last, asserts included."""

import ast
import shutil

import pytest

from tests.places import ROOT

NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.py"))


@pytest.mark.slow
@pytest.mark.parametrize("source", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(source, tmp_path, monkeypatch):
    """In a copy of notebooks and cases: `../cases/...` works and the clone stays clean."""
    jupytext = pytest.importorskip("jupytext")
    nbclient = pytest.importorskip("nbclient")
    for name in ("notebooks", "cases", "meshes"):
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, tmp_path / name)
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    notebook = jupytext.read(source, fmt="py:percent")
    assert any(cell.cell_type == "code" and "assert" in cell.source for cell in notebook.cells)
    client = nbclient.NotebookClient(
        notebook,
        timeout=900,
        kernel_name="python3",
        resources={"metadata": {"path": str(tmp_path / "notebooks")}},
    )
    client.execute()


@pytest.mark.parametrize("source", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_uses_the_public_names_alone(source):
    """What a second notebook wants goes into the package, and what it uses stays there."""
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert not (node.module or "").startswith("weldsim."), f"line {node.lineno}"
        if isinstance(node, ast.Import):
            inner = [a.name for a in node.names if a.name.startswith("weldsim.")]
            assert not inner, f"line {node.lineno}: {inner}"
