"""System libraries behind Gmsh and VTK: load them, or say in one line what is missing.

`import_gmsh` is the only way the package imports Gmsh. `renderer` finds out, in a child
process because a failure there is a crash and no exception, whether VTK can draw without a
screen, and with which of its window classes.
"""

import ctypes
import hashlib
import importlib.util
import json
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from weldsim.bootstrap import (
    child_environment,
    library_folders,
    loads,
    missing_libraries,
    missing_message,
)
from weldsim.errors import SetupError

EGL, OSMESA, X11 = "vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow", "vtkXOpenGLRenderWindow"
NEEDED = {EGL: "libEGL.so.1", OSMESA: "libOSMesa.so.8"}
WINDOW_VARIABLE = "VTK_DEFAULT_OPENGL_WINDOW"
NO_RENDERER = "pictures skipped: VTK found no way to draw here ({})"
NO_PYVISTA = "PyVista is not installed: pip install pyvista"

# Draws one red square off screen; prints the window class and the red of a pixel.
PROBE = """
import vtkmodules.vtkRenderingOpenGL2
from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow, vtkWindowToImageFilter
window, scene, camera = vtkRenderWindow(), vtkRenderer(), vtkWindowToImageFilter()
window.SetOffScreenRendering(1)
window.SetSize(8, 8)
scene.SetBackground(1.0, 0.0, 0.0)
window.AddRenderer(scene)
window.Render()
camera.SetInput(window)
camera.Update()
red = int(camera.GetOutput().GetScalarComponentAsDouble(4, 4, 0, 0))
print("drawn", window.GetClassName(), red, flush=True)
"""


def private_folder() -> Path:
    """Where `bootstrap` unpacks system libraries for a person without root.

    Returns
    -------
    Path
        It need not exist.
    """
    return Path(sys.prefix) / "syslibs"


def preload(folder: str | os.PathLike[str] | None = None) -> None:
    """Load the libraries that `bootstrap` unpacked, if any, so that later loads find them.

    Each is tried until no more load: one that needs another waits for a later round.

    Parameters
    ----------
    folder : path-like, optional
        Where they are; `private_folder` when left out.
    """
    folder = private_folder() if folder is None else Path(folder)
    if not folder.is_dir():
        return
    waiting = [
        path
        for place in library_folders(folder)
        if "/dri" not in place
        for path in sorted(Path(place).glob("lib*.so.*"))
    ]
    progress = True
    while waiting and progress:
        left = []
        for path in waiting:
            try:
                ctypes.CDLL(str(path), mode=ctypes.RTLD_GLOBAL)
            except OSError:
                left.append(path)
        progress, waiting = len(left) < len(waiting), left


def import_pyvista() -> Any:
    """Import PyVista and return the module.

    Returns
    -------
    module
        `pyvista`; to draw with it, call `prepare_renderer` first.

    Raises
    ------
    SetupError
        If it is not installed.
    """
    try:
        import pyvista
    except ImportError as reason:
        raise SetupError(NO_PYVISTA) from reason
    return pyvista


def import_gmsh() -> Any:
    """Import Gmsh and return the module.

    Returns
    -------
    module
        `gmsh`, not initialised.

    Raises
    ------
    SetupError
        If Gmsh is not installed, or a system library it needs is missing: one line with the
        names and the command that installs them.
    """
    preload()
    try:
        import gmsh
    except OSError as reason:
        raise SetupError(gmsh_message(reason, missing_libraries())) from reason
    except ImportError as reason:
        raise SetupError(
            f"Gmsh is not installed ({reason}): run `{sys.executable} -m pip install gmsh`"
        ) from reason
    return gmsh


def gmsh_message(reason: BaseException, missing: Mapping[str, str]) -> str:
    """The one line for a Gmsh that did not load.

    Parameters
    ----------
    reason : BaseException
        What its import raised.
    missing : Mapping of str to str
        System libraries that are not there, and the packages that hold them.

    Returns
    -------
    str
        With the names and the command that installs them, where they are known.
    """
    first = str(reason).splitlines()[0] if str(reason) else type(reason).__name__
    if missing:
        return f"Gmsh could not be loaded: {missing_message(missing)}"
    return f"Gmsh could not be loaded: {first}"


def window_classes(
    platform: str = sys.platform, environ: Mapping[str, str] = os.environ
) -> tuple[str, ...]:
    """The VTK window classes worth trying.

    Parameters
    ----------
    platform : str
        As in `sys.platform`.
    environ : Mapping
        Environment of the process.

    Returns
    -------
    tuple of str
        Best first; "" is the wheel's own choice.
    """
    chosen = environ.get(WINDOW_VARIABLE)
    if chosen:
        return (chosen,)
    if not platform.startswith("linux"):
        return ("",)
    return (EGL, OSMESA, X11) if environ.get("DISPLAY") else (EGL, OSMESA)


def draws(window_class: str, timeout: float = 60) -> str | None:
    """Let a child process draw with a window class.

    Parameters
    ----------
    window_class : str
        Name of a VTK render window class, or "" for VTK's own choice.
    timeout : float, optional
        Patience with the child. [s]

    Returns
    -------
    str or None
        The class it used; None where nothing was drawn.
    """
    environment = child_environment(private_folder())
    environment.pop(WINDOW_VARIABLE, None)
    if window_class:
        environment[WINDOW_VARIABLE] = window_class
    try:
        done = subprocess.run(
            [sys.executable, "-c", PROBE],
            env=environment,
            capture_output=True,
            text=True,
            timeout=timeout,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    answer = [line.split() for line in done.stdout.splitlines() if line.startswith("drawn ")]
    if done.returncode or not answer or int(answer[-1][2]) < 200:
        return None
    return answer[-1][1]


def cache_file() -> Path:
    """The file that remembers this environment's renderer.

    Returns
    -------
    Path
        In the user's cache folder; it need not exist.
    """
    from platformdirs import user_cache_path

    variables = ("DISPLAY", "LD_LIBRARY_PATH", WINDOW_VARIABLE)
    key = [sys.prefix, sys.version, *(os.environ.get(name, "") for name in variables)]
    mark = hashlib.sha256("\0".join(key).encode()).hexdigest()[:16]
    return user_cache_path("weldsim") / f"renderer-{mark}.json"


def remembered(file: Path) -> str | None:
    """The window class in the cache.

    Parameters
    ----------
    file : Path
        See `cache_file`.

    Returns
    -------
    str or None
        None where nothing is known, or the library behind it loads no more.
    """
    try:
        window_class = json.loads(file.read_text(encoding="utf-8"))["window_class"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    library = NEEDED.get(window_class)
    return window_class if library is None or loads(library) else None


def remember(file: Path, window_class: str) -> None:
    """Write the cache; a machine without a writable cache folder only loses the half second.

    Parameters
    ----------
    file : Path
        See `cache_file`.
    window_class : str
        What drew.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        beside = file.with_suffix(f".{os.getpid()}")
        beside.write_text(json.dumps({"window_class": window_class}), encoding="utf-8")
        beside.replace(file)
    except OSError:
        return


def renderer(file: str | os.PathLike[str] | None = None) -> str | None:
    """The VTK window class that draws without a screen on this machine, or None.

    Only a success is remembered, so a library installed later is found at once.

    Parameters
    ----------
    file : Path, optional
        Cache file; by default one per environment in the user's cache folder.

    Returns
    -------
    str or None
        For example ``"vtkEGLRenderWindow"``.
    """
    file = cache_file() if file is None else Path(file)
    preload()
    window_class = remembered(file)
    if window_class:
        return window_class
    for name in window_classes():
        if name in NEEDED and not loads(NEEDED[name]):
            continue
        window_class = draws(name)
        if window_class:
            remember(file, window_class)
            return window_class
    return None


def prepare_renderer() -> str:
    """Get ready to draw off screen; call before VTK or PyVista is imported.

    Returns
    -------
    str
        "" when VTK can draw, else one line that says why pictures are skipped.
    """
    if importlib.util.find_spec("pyvista") is None:
        return f"pictures skipped: {NO_PYVISTA}"
    window_class = renderer()
    if window_class is None:
        missing = missing_libraries()
        why = missing_message(missing) if missing else "no EGL, OSMesa or screen answered"
        return NO_RENDERER.format(why)
    os.environ.setdefault(WINDOW_VARIABLE, window_class)
    os.environ.setdefault("PYVISTA_OFF_SCREEN", "true")
    return ""
