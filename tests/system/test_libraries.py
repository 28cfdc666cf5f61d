"""Gmsh and the renderer: present they work, absent they are one line and no traceback."""

import builtins
import sys

import pytest

from weldsim.errors import SetupError
from weldsim.system import libraries as syslibs


def failing_import(error):
    real = builtins.__import__

    def replacement(name, *rest, **options):
        if name == "gmsh":
            raise error
        return real(name, *rest, **options)

    return replacement


def test_gmsh_comes_back_ready_to_use():
    gmsh = syslibs.import_gmsh()
    assert callable(gmsh.initialize)


def test_a_missing_system_library_names_the_command(monkeypatch):
    error = OSError("libGLU.so.1: cannot open shared object file")
    monkeypatch.setattr(builtins, "__import__", failing_import(error))
    monkeypatch.setattr(syslibs, "missing_libraries", lambda: {"libGLU.so.1": "libglu1-mesa"})
    with pytest.raises(SetupError) as caught:
        syslibs.import_gmsh()
    text = str(caught.value)
    assert "\n" not in text
    assert "libGLU.so.1" in text and "apt-get install" in text and "libglu1-mesa" in text


def test_an_unforeseen_library_is_named_too(monkeypatch):
    error = OSError("libstrange.so.3: cannot open shared object file")
    monkeypatch.setattr(builtins, "__import__", failing_import(error))
    monkeypatch.setattr(syslibs, "missing_libraries", dict)
    with pytest.raises(SetupError, match="libstrange.so.3"):
        syslibs.import_gmsh()


def test_gmsh_not_installed_is_one_line(monkeypatch):
    monkeypatch.setattr(builtins, "__import__", failing_import(ModuleNotFoundError("no gmsh")))
    with pytest.raises(SetupError, match="not installed.*pip install gmsh"):
        syslibs.import_gmsh()


@pytest.mark.parametrize(
    ("platform", "environ", "expected"),
    [
        ("linux", {}, (syslibs.EGL, syslibs.OSMESA)),
        ("linux", {"DISPLAY": ":0"}, (syslibs.EGL, syslibs.OSMESA, syslibs.X11)),
        ("linux", {syslibs.WINDOW_VARIABLE: syslibs.OSMESA}, (syslibs.OSMESA,)),
        ("darwin", {}, ("",)),
        ("win32", {}, ("",)),
    ],
)
def test_ways_to_draw_in_order(platform, environ, expected):
    assert syslibs.window_classes(platform, environ) == expected


def test_an_answer_is_remembered_and_asked_for_once(tmp_path, monkeypatch):
    asked = []
    monkeypatch.setattr(syslibs, "window_classes", lambda: ("first", "second", "third"))
    monkeypatch.setattr(
        syslibs, "draws", lambda name: asked.append(name) or (name if name == "second" else None)
    )
    file = tmp_path / "deeper" / "renderer.json"
    assert syslibs.renderer(file) == "second"
    assert syslibs.renderer(file) == "second"
    assert asked == ["first", "second"]


def test_a_failure_is_not_remembered(tmp_path, monkeypatch):
    monkeypatch.setattr(syslibs, "window_classes", lambda: ("first",))
    monkeypatch.setattr(syslibs, "draws", lambda name: None)
    file = tmp_path / "renderer.json"
    assert syslibs.renderer(file) is None
    monkeypatch.setattr(syslibs, "draws", lambda name: name)
    assert syslibs.renderer(file) == "first"


def test_a_remembered_renderer_whose_library_has_gone_is_asked_again(tmp_path, monkeypatch):
    file = tmp_path / "renderer.json"
    syslibs.remember(file, syslibs.EGL)
    monkeypatch.setattr(syslibs, "loads", lambda library: False)
    assert syslibs.remembered(file) is None


def test_a_damaged_cache_is_ignored(tmp_path):
    file = tmp_path / "renderer.json"
    file.write_text("[")
    assert syslibs.remembered(file) is None


def test_a_crash_of_the_probe_is_a_no(monkeypatch):
    monkeypatch.setattr(syslibs, "PROBE", "import os; os.abort()")
    assert syslibs.draws(syslibs.EGL) is None


def test_a_black_picture_is_a_no(monkeypatch):
    monkeypatch.setattr(syslibs, "PROBE", "print('drawn', 'vtkEGLRenderWindow', 0)")
    assert syslibs.draws(syslibs.EGL) is None


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the window class is Linux's")
def test_this_machine_draws_what_its_libraries_promise(tmp_path):
    """A machine where EGL or OSMesa loads draws a red pixel with it, in a child process."""
    if not any(syslibs.loads(library) for library in syslibs.NEEDED.values()):
        pytest.skip("neither EGL nor OSMesa here")
    assert syslibs.renderer(tmp_path / "renderer.json") in (*syslibs.NEEDED, syslibs.X11)


def test_without_a_renderer_the_reason_is_one_line(monkeypatch):
    monkeypatch.setattr(syslibs, "renderer", lambda: None)
    monkeypatch.setattr(syslibs, "missing_libraries", lambda: {"libEGL.so.1": "libegl1"})
    text = syslibs.prepare_renderer()
    assert text.startswith("pictures skipped") and "libegl1" in text and "\n" not in text


def test_without_pyvista_the_reason_is_one_line(monkeypatch):
    """A run without it ends in numbers, not in a traceback (it did so in its report)."""
    monkeypatch.setitem(sys.modules, "pyvista", None)
    text = syslibs.prepare_renderer()
    assert text.startswith("pictures skipped") and "pip install pyvista" in text
    with pytest.raises(SetupError, match="pip install pyvista"):
        syslibs.import_pyvista()
