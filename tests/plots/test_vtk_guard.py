"""The guard of conftest.py that turns a VTK error message into a failed test."""

import pytest

from tests.places import ROOT

pytest_plugins = ["pytester"]

COMPLAINS = """
def read_a_file_that_is_not_there():
    from vtkmodules.vtkIOXML import vtkXMLUnstructuredGridReader

    reader = vtkXMLUnstructuredGridReader()
    reader.SetFileName("not-there.vtu")
    reader.Update()


def test_with_plain_vtk():
    read_a_file_that_is_not_there()


def test_with_pyvista_which_listens_too():
    import pyvista

    read_a_file_that_is_not_there()


def test_says_nothing():
    pass
"""


def test_a_vtk_error_fails_its_test_and_no_other(pytester):
    pytest.importorskip("pyvista")
    pytester.makeconftest((ROOT / "tests" / "conftest.py").read_text(encoding="utf-8"))
    pytester.makepyfile(COMPLAINS)
    result = pytester.runpytest_subprocess("-p", "no:cacheprovider")
    result.assert_outcomes(passed=3, errors=2)
    text = result.stdout.str()
    assert "VTK reported: " in text
    assert "not-there.vtu" in text
