"""Starting the program costs little: heavy libraries are imported where they are used."""

import subprocess
import sys

HEAVY = (
    "gmsh",
    "imageio",
    "jinja2",
    "matplotlib",
    "meshio",
    "numba",
    "numpy",
    "pint",
    "pygmsh",
    "pyvista",
    "rslab",
    "scipy",
    "skfem",
    "vtkmodules",
)

# what a verb is made of; help needs none of them
ROOMS = ("schema", "materials", "geometry", "joints", "case", "physics", "simulation", "runs",
         "studies", "text", "plots", "report", "page")  # fmt: skip


def loaded_by(statement):
    """The heavy modules that are loaded once `statement` has run in a fresh interpreter."""
    code = f"{statement}\nimport sys\nprint(*(m for m in {HEAVY!r} if m in sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_the_list_of_heavy_modules_is_seen():
    assert loaded_by("import numpy") == ["numpy"]


def test_importing_the_package_loads_no_heavy_module():
    assert loaded_by("import weldsim") == []


def test_importing_the_command_line_loads_no_heavy_module():
    assert loaded_by("import weldsim.cli.main") == []


def test_help_names_the_verbs_and_loads_no_heavy_module():
    code = (
        "import sys\nsys.argv = ['weldsim', '--help']\nfrom weldsim.cli.main import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code\n"
        f"print('LOADED', *(m for m in {HEAVY!r} if m in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    *text, last = done.stdout.splitlines()
    assert last.split() == ["LOADED"]
    for verb in ("new", "check", "run", "show", "material"):
        assert any(verb in line.split() for line in map(lambda x: x.strip("│| "), text)), verb


def test_help_loads_no_module_of_a_verb_and_answers_within_half_a_second():
    """Half a second is about what a person takes for an answer at once (usability handbooks say
    between 0.1 and 1 s; from memory). Time of the processor, best of three: others may be busy."""
    code = (
        "import sys, time\nsys.argv = ['weldsim', '--help']\nfrom weldsim.cli.main import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print(time.process_time(), *sorted(m for m in sys.modules if m.startswith('weldsim')))"
    )
    took = []
    for _ in range(3):
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
        seconds, *loaded = done.stdout.splitlines()[-1].split()
        verbs = {m for m in loaded if m.startswith("weldsim.cli.")}
        assert verbs == {f"weldsim.cli.{m}" for m in ("main", "usage", "help_words")}
        assert not set(loaded) & {f"weldsim.{r}" for r in ROOMS}
        took.append(float(seconds))
    assert min(took) < 0.5
