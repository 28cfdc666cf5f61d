"""The set-up script: what is missing, what is run, and how failures are told."""

import ast
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from weldsim import bootstrap

ROOT = Path(__file__).parent.parent
SCRIPT = ROOT / "weldsim" / "bootstrap.py"


def without(*names):
    return lambda library: library not in names


def test_nothing_is_missing_when_every_library_loads():
    assert bootstrap.missing_libraries(lambda library: True, "linux") == {}


def test_a_missing_library_is_named_with_its_package():
    missing = bootstrap.missing_libraries(without("libGLU.so.1", "libXft.so.2"), "linux")
    assert missing == {"libGLU.so.1": "libglu1-mesa", "libXft.so.2": "libxft2"}


@pytest.mark.parametrize("present", ["libEGL.so.1", "libOSMesa.so.8"])
def test_one_way_to_draw_is_enough(present):
    absent = [name for name in bootstrap.RENDER_LIBRARIES if name != present]
    assert bootstrap.missing_libraries(without(*absent), "linux") == {}


def test_no_way_to_draw_asks_for_one_package():
    missing = bootstrap.missing_libraries(without(*bootstrap.RENDER_LIBRARIES), "linux")
    assert missing == {"libEGL.so.1": "libegl1"}


@pytest.mark.parametrize("platform", ["darwin", "win32"])
def test_wheels_of_other_systems_need_nothing(platform):
    assert bootstrap.missing_libraries(lambda library: False, platform) == {}


def test_the_loader_is_really_asked():
    assert not bootstrap.loads("libweldsim-has-no-such-library.so.7")


def test_the_message_is_one_line_with_library_and_command():
    text = bootstrap.missing_message({"libGLU.so.1": "libglu1-mesa", "libGL.so.1": "libgl1"})
    assert "\n" not in text
    assert "libGLU.so.1, libGL.so.1" in text
    assert "`sudo apt-get install --no-install-recommends libglu1-mesa libgl1`" in text


def test_a_plain_user_without_apt_is_told_what_to_install(monkeypatch, tmp_path):
    monkeypatch.setattr(bootstrap, "missing_libraries", lambda *a: {"libGLU.so.1": "libglu1-mesa"})
    monkeypatch.setattr(bootstrap, "is_root", lambda: False)
    monkeypatch.setenv("PATH", str(tmp_path))
    folder = tmp_path / "syslibs"
    with pytest.raises(bootstrap.SetupFailed, match="libGLU.so.1.*apt-get install.*libglu1-mesa"):
        bootstrap.provide_libraries(folder)
    assert not folder.exists()


def test_root_installs_the_packages_without_asking(monkeypatch):
    calls = []
    monkeypatch.setattr(bootstrap, "checked", lambda command, **options: calls.append(command))
    bootstrap.apt_install(["libgl1", "libxft2"])
    assert calls[0][0] == "apt-get" and calls[0][-1] == "update"
    assert calls[1][0] == "apt-get" and calls[1][-2:] == ["libgl1", "libxft2"]
    assert "-qy" in calls[1]


def test_a_failed_command_is_one_line():
    code = "import sys; print('first'); sys.exit('no space left')"
    with pytest.raises(bootstrap.SetupFailed, match=r"failed \(1\): no space left"):
        bootstrap.checked([sys.executable, "-c", code])


def test_unpacked_libraries_come_before_the_callers_path(tmp_path):
    place = tmp_path / "usr" / "lib"
    (place / "dri").mkdir(parents=True)
    (place / "libGLU.so.1").touch()
    (place / "dri" / "swrast_dri.so").touch()
    environment = bootstrap.child_environment(tmp_path, {"LD_LIBRARY_PATH": "/before", "A": "b"})
    assert environment == {"LD_LIBRARY_PATH": f"{place}{os.pathsep}/before", "A": "b"}
    assert bootstrap.child_environment(tmp_path / "none", {"A": "b"}) == {"A": "b"}


def test_install_uses_the_committed_versions_and_the_asked_extras():
    command = bootstrap.install_command(["python", "-m", "pip"], {"test", "fast"})
    assert command[-2:] == ["--editable", ".[fast,test]"]
    assert command[command.index("--constraint") + 1] == ".ci/constraints.txt"


def test_a_stamp_counts_only_for_its_own_fingerprint(tmp_path):
    for name in ("pyproject.toml", ".ci/constraints.txt"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("one")
    mark = bootstrap.fingerprint(tmp_path)
    stamp = tmp_path / "stamp.json"
    stamp.write_text(f'{{"mark": "{mark}", "extras": ["fast"]}}')
    assert bootstrap.installed_extras(stamp, mark) == {"fast"}
    (tmp_path / ".ci/constraints.txt").write_text("two")
    assert bootstrap.installed_extras(stamp, bootstrap.fingerprint(tmp_path)) is None
    stamp.write_text("not json")
    assert bootstrap.installed_extras(stamp, mark) is None
    assert bootstrap.installed_extras(tmp_path / "none", mark) is None


def prepared(tmp_path, monkeypatch, extras):
    """A root with a working `.venv` stamped for `extras`; returns the list of pip calls."""
    for name in ("pyproject.toml", ".ci/constraints.txt"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("")
    folder = tmp_path / ".venv"
    folder.mkdir()
    mark = bootstrap.fingerprint(tmp_path)
    listed = ", ".join(f'"{name}"' for name in extras)
    (folder / "weldsim-setup.json").write_text(f'{{"mark": "{mark}", "extras": [{listed}]}}')
    calls = []

    def run(command, **options):
        calls.append(command)
        return subprocess.CompletedProcess(command, 0)

    monkeypatch.setattr(bootstrap, "works", lambda python: True)
    monkeypatch.setattr(bootstrap, "provide_libraries", lambda folder: None)
    monkeypatch.setattr(bootstrap.subprocess, "run", run)
    return calls


def test_a_second_run_installs_nothing(tmp_path, monkeypatch):
    calls = prepared(tmp_path, monkeypatch, ["fast", "test"])
    bootstrap.prepare(tmp_path, ("fast",))
    assert calls == []


def test_a_missing_extra_is_added_to_those_present(tmp_path, monkeypatch):
    calls = prepared(tmp_path, monkeypatch, ["fast", "video"])
    bootstrap.prepare(tmp_path, ("fast", "test"))
    assert calls[-1][-1] == ".[fast,test,video]"
    calls.clear()
    bootstrap.prepare(tmp_path, ("test",))
    assert calls == []


@pytest.fixture
def debian_without_venv(monkeypatch):
    """Debian's `venv` without python3-venv calls sys.exit from library code."""
    import venv

    made = []

    def create(folder, with_pip, clear):
        made.append(with_pip)
        Path(folder).mkdir()
        if with_pip:
            raise SystemExit(1)

    monkeypatch.setattr(venv, "create", create)
    return made


def test_without_venv_support_the_pip_of_this_python_installs(
    tmp_path, monkeypatch, debian_without_venv
):
    monkeypatch.setattr(bootstrap.importlib.util, "find_spec", lambda name: name)
    pip = bootstrap.create_environment(tmp_path / ".venv")
    assert debian_without_venv == [True, False]
    assert pip[:4] == [sys.executable, "-m", "pip", "--python"]


def test_without_venv_support_and_pip_a_plain_user_is_told_the_package(
    tmp_path, monkeypatch, debian_without_venv
):
    monkeypatch.setattr(bootstrap.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(bootstrap, "is_root", lambda: False)
    package = f"python3.{sys.version_info.minor}-venv"
    with pytest.raises(bootstrap.SetupFailed, match=f"apt-get install .*{package}"):
        bootstrap.create_environment(tmp_path / ".venv")
    assert not (tmp_path / ".venv").exists()


def test_without_venv_support_and_pip_root_installs_the_package(
    tmp_path, monkeypatch, debian_without_venv
):
    calls = []
    monkeypatch.setattr(bootstrap.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(bootstrap, "is_root", lambda: True)
    monkeypatch.setattr(bootstrap, "checked", lambda command, **options: calls.append(command))
    pip = bootstrap.create_environment(tmp_path / ".venv")
    assert calls[1][-1] == f"python3.{sys.version_info.minor}-venv"
    assert calls[2][1:3] == ["-m", "venv"]
    assert pip == [str(bootstrap.python_of(tmp_path / ".venv")), "-m", "pip"]


@pytest.mark.parametrize("code", [0, 1, 5])
def test_exit_codes_are_passed_on(code, tmp_path):
    command = [sys.executable, "-c", f"raise SystemExit({code})"]
    assert bootstrap.follow(command, tmp_path, dict(os.environ)) == code


@pytest.mark.skipif(os.name == "nt", reason="no signals of this kind")
def test_a_killed_program_is_told_as_a_shell_does(tmp_path):
    command = [sys.executable, "-c", "import os, signal; os.kill(os.getpid(), signal.SIGTERM)"]
    assert bootstrap.follow(command, tmp_path, dict(os.environ)) == 128 + 15


def test_the_demo_runs_the_case_then_draws_it(tmp_path, monkeypatch):
    calls = []
    monkeypatch.setattr(bootstrap, "follow", lambda command, *rest: calls.append(command) or 0)
    (tmp_path / "runs" / "pivot_arm").mkdir(parents=True)
    words = ["--set", "solve.grade=quick"]
    assert bootstrap.demo(tmp_path, tmp_path / ".venv", {}, words) == 0
    run, show = calls
    out = tmp_path / "runs" / "pivot_arm-2"  # an earlier run is left alone
    assert run[1:] == ["run", "cases/pivot_arm.toml", "--out", out, *words]
    assert show[1:] == ["show", out]


@pytest.mark.parametrize("form", [["--out", "mine"], ["--out=mine"]])
def test_the_demo_looks_where_it_was_told_to_write(form, tmp_path, monkeypatch):
    calls = []
    monkeypatch.setattr(bootstrap, "follow", lambda command, *rest: calls.append(command) or 0)
    assert bootstrap.demo(tmp_path, tmp_path / ".venv", {}, form) == 0
    run, show = calls
    assert run[1:] == ["run", "cases/pivot_arm.toml", *form]
    assert show[1:] == ["show", tmp_path / "mine"]


def test_the_demo_stops_at_a_failed_run(tmp_path, monkeypatch):
    calls = []
    monkeypatch.setattr(bootstrap, "follow", lambda command, *rest: calls.append(command) or 2)
    assert bootstrap.demo(tmp_path, tmp_path / ".venv", {}, []) == 2
    assert len(calls) == 1


@pytest.mark.parametrize(("words", "code"), [([], 2), (["demmo"], 2), (["--help"], 0)])
def test_a_wrong_verb_prints_the_usage(words, code):
    done = subprocess.run([sys.executable, SCRIPT, *words], capture_output=True, text=True)
    assert done.returncode == code
    for verb in bootstrap.VERBS:
        assert verb in done.stdout


def test_it_needs_only_the_standard_library():
    tree = ast.parse(SCRIPT.read_text(encoding="utf-8"))
    nodes = [node for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)]
    names = {
        (node.module if isinstance(node, ast.ImportFrom) else alias.name).split(".")[0]
        for node in nodes
        for alias in node.names
    }
    assert "subprocess" in names
    assert names <= sys.stdlib_module_names


def test_an_older_python_can_still_read_it_and_say_so():
    """Ubuntu 22.04 has Python 3.10: the script must reach its own message there."""
    ast.parse(SCRIPT.read_text(encoding="utf-8"), feature_version=(3, 8))


def test_modules_of_the_package_do_not_pose_as_library_modules(tmp_path):
    shutil.copy(SCRIPT, tmp_path / "bootstrap.py")
    (tmp_path / "hashlib.py").write_text("raise SystemExit(99)")
    done = subprocess.run([sys.executable, tmp_path / "bootstrap.py", "--help"])
    assert done.returncode == 0
