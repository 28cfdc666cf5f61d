"""Set weldsim up on a bare machine, then run the demo or the tests.

Run as a plain script, before anything is installed::

    python3 weldsim/bootstrap.py demo     # set up, run cases/pivot_arm.toml, make its pictures
    python3 weldsim/bootstrap.py test     # set up, run the quick tests
    python3 weldsim/bootstrap.py setup    # set up only

Words after the verb go on to `weldsim run` or to `pytest`. Everything is put in `.venv` beside
the package; a second run finds it there and starts at once. Standard library only, and nothing
here may import the rest of the package.
"""

import sys

if __name__ == "__main__":
    # A script's folder comes first on the path: modules of this package must not pose as others.
    sys.path.pop(0)

import ctypes
import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
from pathlib import Path

OLDEST_PYTHON = (3, 11)
NEWER_PYTHONS = ("python3.13", "python3.12", "python3.11", "python3.14")
EXTRAS = {"setup": ("fast", "test"), "demo": ("fast",), "test": ("fast", "test")}
VERBS = tuple(EXTRAS)
DEMO_CASE = "cases/pivot_arm.toml"
FAILED = 3  # exit code of a set-up that did not succeed; 2 means a wrong command line

# What the Gmsh and VTK wheels load but do not carry, and the Debian/Ubuntu package of each.
LIBRARIES = {
    "libGLU.so.1": "libglu1-mesa",
    "libGL.so.1": "libgl1",
    "libXrender.so.1": "libxrender1",
    "libXcursor.so.1": "libxcursor1",
    "libXfixes.so.3": "libxfixes3",
    "libXft.so.2": "libxft2",
    "libXinerama.so.1": "libxinerama1",
    "libgomp.so.1": "libgomp1",
}
# Any one of these draws pictures without a screen.
RENDER_LIBRARIES = {"libEGL.so.1": "libegl1", "libOSMesa.so.8": "libosmesa6"}


class SetupFailed(Exception):
    """One line for the person at the keyboard."""


# ---------------------------------------------------------------- what is missing


def loads(library):
    """Whether the dynamic loader finds `library`, for example ``"libGL.so.1"``."""
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def missing_libraries(loads=loads, platform=sys.platform):
    """Name the system libraries that are missing, and the packages that hold them.

    Parameters
    ----------
    loads : callable, optional
        Takes a library's file name, returns whether it can be loaded.
    platform : str, optional
        As `sys.platform`. The wheels for Windows and macOS need nothing more.

    Returns
    -------
    dict of str to str
        Library file name to Debian package name.
    """
    if not platform.startswith("linux"):
        return {}
    missing = {name: package for name, package in LIBRARIES.items() if not loads(name)}
    if not any(loads(name) for name in RENDER_LIBRARIES):
        missing["libEGL.so.1"] = RENDER_LIBRARIES["libEGL.so.1"]
    return missing


def venv_package(version=sys.version_info):
    """The Debian package that completes `venv` for this Python."""
    return f"python{version[0]}.{version[1]}-venv"


def apt_command(packages):
    """The command that installs `packages` on Debian and Ubuntu, as one line."""
    return "sudo apt-get install --no-install-recommends " + " ".join(packages)


def missing_message(missing):
    """One line: which libraries are missing, and how to get them."""
    return (
        f"missing system libraries {', '.join(missing)}: on Debian or Ubuntu run"
        f" `{apt_command(missing.values())}`, elsewhere install the packages that hold them"
    )


# ---------------------------------------------------------------- system libraries


def say(text):
    print(f"weldsim: {text}", flush=True)


def checked(command, **options):
    """Run `command` in silence and return its output, or raise with its last words."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False, **options)
    except FileNotFoundError:
        raise SetupFailed(f"`{command[0]}` was not found on this machine") from None
    if done.returncode:
        words = (done.stderr.strip() or done.stdout.strip() or "no message").splitlines()
        shown = " ".join(str(word) for word in command[:6])
        raise SetupFailed(f"`{shown} ...` failed ({done.returncode}): {' / '.join(words[-3:])}")
    return done.stdout


def is_root():
    return hasattr(os, "geteuid") and os.geteuid() == 0


def apt_install(packages):
    """Install Debian packages; needs root."""
    say(f"installing system packages {' '.join(packages)}")
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    checked(["apt-get", "-q", "update"], env=quiet)
    checked(["apt-get", "-qy", "install", "--no-install-recommends", *packages], env=quiet)


def private_copy(packages, folder):
    """Unpack Debian packages, and what they need, into `folder`; needs no root.

    apt is given lists and a cache of its own, so that the system's stay untouched.
    """
    say(f"no root here: unpacking {' '.join(packages)} into {folder} (about 225 MB)")
    scratch = folder / "apt"
    for name in ("lists/partial", "cache/archives/partial"):
        (scratch / name).mkdir(parents=True, exist_ok=True)
    apt = ["apt-get", "-q", "-o", f"Dir::State::lists={scratch / 'lists'}"]
    apt += ["-o", f"Dir::Cache={scratch / 'cache'}"]
    checked([*apt, "update"])
    # The stand-alone renderer finds its parts in any folder; EGL looks for them under /usr.
    packages = ["libosmesa6" if name == "libegl1" else name for name in packages]
    plan = checked([*apt, "-s", "install", "--no-install-recommends", *packages])
    names = [line.split()[1] for line in plan.splitlines() if line.startswith("Inst ")]
    checked([*apt, "download", *names], cwd=scratch)
    for archive in sorted(scratch.glob("*.deb")):
        checked(["dpkg", "-x", str(archive), str(folder)])
    shutil.rmtree(scratch)


def library_folders(folder):
    """The folders below `folder` that hold shared libraries, as text."""
    return sorted({str(path.parent) for path in Path(folder).rglob("*.so*") if path.is_file()})


def child_environment(folder, environ=os.environ):
    """The environment for a program that may need the libraries unpacked in `folder`."""
    wanted = [path for path in library_folders(folder) if "/dri" not in path]
    if not wanted:
        return dict(environ)
    before = [environ["LD_LIBRARY_PATH"]] if environ.get("LD_LIBRARY_PATH") else []
    return {**environ, "LD_LIBRARY_PATH": os.pathsep.join(wanted + before)}


def loads_in_child(folder):
    """A `loads` that also sees the private copy; asks a child, since the loader's path is fixed."""
    environment = child_environment(folder)

    def check(library):
        code = f"import ctypes; ctypes.CDLL({library!r})"
        done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True)
        return done.returncode == 0

    return check


def provide_libraries(folder):
    """Make the system libraries available: from the system, from apt, or unpacked in `folder`."""
    missing = missing_libraries()
    if not missing:
        return
    see = loads_in_child(folder)
    missing = missing_libraries(see)
    if not missing:
        return
    packages = list(missing.values())
    try:
        if is_root():
            apt_install(packages)
        else:
            private_copy(packages, folder)
    except SetupFailed as reason:
        shutil.rmtree(folder, ignore_errors=True)
        raise SetupFailed(f"{missing_message(missing)} ({reason})") from None
    left = missing_libraries(loads_in_child(folder))
    if left:
        raise SetupFailed(missing_message(left))


# ---------------------------------------------------------------- the environment


def python_of(folder):
    """The interpreter of the virtual environment in `folder`."""
    return folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def works(python):
    try:
        return subprocess.run([str(python), "-c", ""], capture_output=True).returncode == 0
    except OSError:
        return False


def create_environment(folder):
    """Create a virtual environment and return the pip command that installs into it."""
    import venv

    python = str(python_of(folder))
    try:
        venv.create(folder, with_pip=True, clear=True)
        return [python, "-m", "pip"]
    except (SystemExit, subprocess.CalledProcessError, ImportError, OSError):
        # Debian without python3-venv leaves the interpreter from inside `venv`.
        shutil.rmtree(folder, ignore_errors=True)
    if importlib.util.find_spec("pip") is None:
        if not is_root():
            raise SetupFailed(f"this Python has no pip: run `{apt_command([venv_package()])}`")
        apt_install([venv_package()])
        checked([sys.executable, "-m", "venv", str(folder)])
        return [python, "-m", "pip"]
    venv.create(folder, with_pip=False, clear=True)
    return [sys.executable, "-m", "pip", "--python", python]


def pip_command(folder):
    """How to install into an environment that exists already."""
    python = str(python_of(folder))
    if subprocess.run([python, "-m", "pip", "--version"], capture_output=True).returncode == 0:
        return [python, "-m", "pip"]
    return [sys.executable, "-m", "pip", "--python", python]


def install_command(pip, extras):
    """The command that installs the package, with the versions of the constraints file."""
    options = ["--quiet", "--disable-pip-version-check", "--constraint", ".ci/constraints.txt"]
    return [*pip, "install", *options, "--editable", f".[{','.join(sorted(extras))}]"]


def fingerprint(root):
    """A text that changes when the environment has to be made again."""
    parts = [str(root).encode(), sys.version.encode()]
    parts += [(root / name).read_bytes() for name in ("pyproject.toml", ".ci/constraints.txt")]
    return hashlib.sha256(b"\0".join(parts)).hexdigest()


def installed_extras(stamp, mark):
    """The extras that `stamp` records for the fingerprint `mark`, or None when it is another."""
    try:
        record = json.loads(stamp.read_text(encoding="utf-8"))
        return set(record["extras"]) if record["mark"] == mark else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def prepare(root, extras):
    """Bring `.venv` up to date for `extras`; quick when nothing has changed."""
    folder = root / ".venv"
    stamp, mark = folder / "weldsim-setup.json", fingerprint(root)
    present = installed_extras(stamp, mark) if works(python_of(folder)) else None
    if present is None or not set(extras) <= present:
        if works(python_of(folder)):
            pip = pip_command(folder)
        else:
            say(f"making {folder}")
            pip = create_environment(folder)
        wanted = sorted(set(extras) | (present or set()))
        say("installing packages (the first time a minute or two, about 2 GB on disk)")
        if subprocess.run(install_command(pip, wanted), cwd=root).returncode:
            raise SetupFailed("pip could not install the packages; its message is above")
        stamp.write_text(json.dumps({"mark": mark, "extras": wanted}), encoding="utf-8")
    provide_libraries(folder / "syslibs")
    return folder


# ---------------------------------------------------------------- the verbs


def follow(command, root, environment):
    """Run `command` with our screen and keyboard; return its exit code as a shell would."""
    process = subprocess.Popen([str(word) for word in command], cwd=root, env=environment)
    while True:
        try:
            code = process.wait()
            return 128 - code if code < 0 else code
        except KeyboardInterrupt:
            continue  # Ctrl-C reached the child too; it ends in its own way


def free_folder(base):
    """`base`, or the first of `base`-2, `base`-3, ... that does not exist."""
    folder, number = base, 1
    while folder.exists():
        number += 1
        folder = base.with_name(f"{base.name}-{number}")
    return folder


def asked_folder(words):
    """The folder that `--out` names in `words`, the last one if there are several, or None."""
    out = None
    for place, word in enumerate(words):
        if word == "--out":
            out = (words[place + 1 : place + 2] or [None])[0]
        elif word.startswith("--out="):
            out = word[len("--out=") :]
    return out


def demo(root, folder, environment, words):
    """Run the demo case, make its pictures, and say where they are."""
    weldsim = folder / ("Scripts/weldsim.exe" if os.name == "nt" else "bin/weldsim")
    asked = asked_folder(words)
    out = root / asked if asked else free_folder(root / "runs" / Path(DEMO_CASE).stem)
    place = [] if asked else ["--out", out]
    code = follow([weldsim, "run", DEMO_CASE, *place, *words], root, environment)
    if code == 0 and not any((out / "pictures").glob("*")):
        code = follow([weldsim, "show", out], root, environment)
    if code == 0:
        say(f"results are in {os.path.relpath(out, root)}")
        for picture in sorted((out / "pictures").glob("*")):
            say(f"picture {os.path.relpath(picture, root)}")
    return code


def test(root, folder, environment, words):
    """Run the quick tests, one process a core and one thread a process."""
    one = ("OMP", "OPENBLAS", "MKL", "NUMBA")
    threads = {f"{name}_NUM_THREADS": "1" for name in one} | {"WELDSIM_THREADS": "1"}
    command = [python_of(folder), "-m", "pytest", "-m", "not slow", "-n", "auto"]
    # A test that hangs ends with the stacks of all threads instead of keeping the rest waiting.
    hung = ["-o", "faulthandler_timeout=300", "-o", "faulthandler_exit_on_timeout=true"]
    # Files kept together do not survive the loss of a process: pytest-xdist waits without end then.
    command += ["--dist", "loadfile", "--max-worker-restart", "0", *hung, *words]
    return follow(command, root, {**threads, **environment})


def newer_python():
    """An interpreter on the path that is new enough, or None."""
    code = f"import sys; sys.exit(sys.version_info < {OLDEST_PYTHON!r})"
    for name in NEWER_PYTHONS:
        found = shutil.which(name)
        if found and subprocess.run([found, "-c", code], capture_output=True).returncode == 0:
            return found
    return None


def main(arguments):
    """Run one verb; returns the exit code."""
    if not arguments or arguments[0] not in VERBS:
        print(f"usage: python3 weldsim/bootstrap.py {{{'|'.join(VERBS)}}} [more words]")
        return 0 if arguments and arguments[0] in ("-h", "--help") else 2
    script = Path(__file__).resolve()
    if sys.version_info < OLDEST_PYTHON:
        found = newer_python()
        if found:
            return subprocess.call([found, str(script), *arguments])
        say(f"needs Python 3.11 or newer, and this is {sys.version.split()[0]}")
        return FAILED
    verb, root = arguments[0], script.parent.parent
    try:
        folder = prepare(root, EXTRAS[verb])
    except SetupFailed as reason:
        print(f"weldsim: set-up stopped: {reason}", file=sys.stderr)
        return FAILED
    if verb == "setup":
        say(f"ready in {folder}")
        return 0
    action = {"demo": demo, "test": test}[verb]
    return action(root, folder, child_environment(folder / "syslibs"), arguments[1:])


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
