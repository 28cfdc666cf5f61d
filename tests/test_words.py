"""What a user reads speaks with the words of DEVELOPERS.md, "Words we use".

Looked at: every text in the program that is no docstring and holds a blank or stands alone in a
table of labels, the help of the command line with it, the files of page and report, the case files
and what stands in README and notebooks.
"""

import ast
import re

import pytest

from tests.places import ROOT
from weldsim.geometry.grades import GRADE_USE

# what must not be said -> what is said in its place
GONE = {
    r"[Qq]uick looks?|[Ee]lastic looks?|[Rr]ough runs?": "Preview",
    r"discreti[sz]ation error|stated error": "estimated error",
    r"[Cc]ompanion": "a second run for the estimated error",
    r"\bvises?\b|\bgrips?\b|\bgripped\b|\bjaws\b": "clamp",
    r"\bleans?\b|\bleaning\b|set (?:it|the part) off": "tilt, or preset",
    r"\b[Gg]o(?:es)? on with (?:it|a|the)\b|[Gg]o on with:|cannot go on from": "resume",
    r"[Cc]areful:": "Warning:",
    r"\bunknowns\b": "equations, or uncertain shop values",
    r"[Aa]s built\b": "shape before welding",
    r"times too large": "exaggerated",
    r"confirm before release": "from memory: check the standard",
    r"\bopen land\b|\bthe land\b": "contact faces at the root",
    r"What it rests on": "Assumptions",
    r"How sure": "Accuracy",
    r"Left in the part": "Residual stress",
    r"[Ff]or playing only": "Not for numbers",
    r"Take along": "Files",
    r"turn(?:s|ed)? round|other way round": "reverse travel, or turn back",
    r"Keep the old order": "Cancel",
    r"creeps\b|boxed in|[Oo]ne weld ahead": "say what moves, closes or is asked",
    r"float away": "held only against moving as a whole",
    r"nobody waits for it|no such thing to do|too much for that": "say what happened",
    r"\b[Aa]s told\b|as some say|they say": "common practice",
    r"per mm2 of thickness squared|is what is left of parts|of rows run at grade": "plain words",
    r"this steel": "this metal",
    r"\+- ?[\d{]": "±",
    r"[Ss]tays on\b": "stays closed",
}
# words of case files and of old command lines, quoted as such
QUOTED = ("--companion", "--no-companion")
TEXTS = (".py", ".js", ".html")
SKIPPED = {"three.min.js"}


def sayings(path):
    """Texts of a module that a person may read: strings with a blank that are no docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    documented = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, documented) and node.body and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            if " " in node.value.strip():
                yield f"line {node.lineno}", node.value


def plain(path):
    """Lines of a file that is no module; of a script the texts with a blank in them."""
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        if path.suffix == ".js":
            line = " ".join(re.findall(r'"[^"]* [^"]*"|`[^`]* [^`]*`', line))
        yield f"line {number}", line


def wrong_words(paths):
    for path in paths:
        for where, text in (sayings if path.suffix == ".py" else plain)(path):
            for word in QUOTED:
                text = text.replace(word, "")
            for pattern, better in GONE.items():
                if found := re.search(pattern, text):
                    yield f"{path.relative_to(ROOT)} {where}: {found[0]!r}: {better}"


def files(folder, *endings):
    return [
        path
        for path in sorted((ROOT / folder).rglob("*"))
        if path.suffix in endings and path.name not in SKIPPED
    ]


ROOMS = sorted(p.name for p in (ROOT / "weldsim").iterdir() if (p / "__init__.py").is_file())


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_says_it_in_the_words_we_use(room):
    assert not list(wrong_words(files(f"weldsim/{room}", *TEXTS)))


def test_data_cases_and_documents_do_too():
    texts = files("weldsim/data", ".html", ".js", ".toml")
    texts += [*files("cases", ".toml"), ROOT / "README.md"]
    notebooks = (wrong for path in files("notebooks", ".py") for wrong in _notebook(path))
    assert not [*wrong_words(texts), *notebooks]


def _notebook(path):
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        for pattern, better in GONE.items():
            if line.startswith("#") and (found := re.search(pattern, line)):
                yield f"{path.name} line {number}: {found[0]!r}: {better}"


def test_readme_says_of_each_grade_what_the_program_says():
    readme = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    for grade, use in GRADE_USE.items():
        assert f"**{grade}** ({use})" in readme
