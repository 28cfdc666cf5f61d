"""Settings every test runs under, made before numpy, VTK or matplotlib are imported."""

import logging
import os
import signal

for name in ("OMP", "OPENBLAS", "MKL", "NUMBA"):
    os.environ.setdefault(f"{name}_NUM_THREADS", "1")  # repeatable numbers, parallel workers
os.environ.setdefault("WELDSIM_THREADS", "1")
os.environ["MPLBACKEND"] = "Agg"
os.environ["PYVISTA_OFF_SCREEN"] = "true"

import pytest  # noqa: E402


class PyvistaEar(logging.Handler):
    """Hears the VTK errors that PyVista, once imported, takes over and logs."""

    def __init__(self, errors):
        super().__init__(level=logging.ERROR)
        self.errors = errors

    def emit(self, record):
        if "pyvista" in record.pathname:
            self.errors.append(record.getMessage())


@pytest.fixture(scope="session")
def vtk_errors():
    """The errors VTK has reported since the session began: a list that grows."""
    errors = []
    try:
        from vtkmodules.vtkCommonCore import vtkOutputWindow, vtkStringOutputWindow
    except ImportError:
        return errors

    def note(window, event, text):
        errors.append(text.strip())

    note.CallDataType = "string0"  # tells VTK's Python layer to hand over the message
    window = vtkStringOutputWindow()
    window.AddObserver("ErrorEvent", note)
    vtkOutputWindow.SetInstance(window)
    logging.getLogger().addHandler(PyvistaEar(errors))
    return errors


@pytest.fixture(autouse=True)
def vtk_stays_silent(vtk_errors):
    """Fail a test during which VTK reported an error; VTK itself would only print it."""
    before = len(vtk_errors)
    yield
    if vtk_errors[before:]:
        pytest.fail(f"VTK reported: {vtk_errors[before]}", pytrace=False)


@pytest.fixture(autouse=True)
def broken_pipes_are_errors():
    """Gmsh, called by a test itself, lets a broken pipe end the process; Python has an error."""
    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_IGN)
