"""Addresses where a case is made: fields, checks, words, shape, opening and saving."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from weldsim.errors import CaseError, WeldsimError
from weldsim.geometry.grades import GRADE_USE
from weldsim.joints.registry import KINDS
from weldsim.materials.shelf import list_materials
from weldsim.page import case_list, fields, material_task, runs, studies, tasks
from weldsim.page.bench import CHECK_LIMIT, Answer, Asked, Bench, refusal
from weldsim.page.case_form import messages_of, wrong_sections
from weldsim.page.files import file_response
from weldsim.page.preview import NOTES
from weldsim.report.viewer import SCRIPTS
from weldsim.system.examples import lessons
from weldsim.text.cautions import CAUTIONS, DEFER, closing
from weldsim.text.quantities import UNITS, in_us

# kinds of studies -> the verb of the command line whose caution their answer ends with
VERBS = {"plan": "plan", "next": "next", "why": "why", "preset": "preset", "clamps": "preset",
         "correct": "correct", "heats": "run", "fit": "run", "band": "run"}  # fmt: skip


def begin(bench: Bench, asked: Asked) -> Answer:
    """What the page needs once: joints, units, cautions, what lies in the work folder."""
    return {
        "kinds": [{"kind": k, "label": fields.label_of(k)} for k in KINDS
                  if k not in fields.FROM_FILE],
        "from_file": list(fields.FROM_FILE), "units": fields.units_offered(),
        "cautions": [*CAUTIONS, DEFER], "cautions_us": in_us([*CAUTIONS, DEFER]),
        "caution": closing("run", "Set-up"),
        "closings": {kind: str(closing(verb, "Set-up")) for kind, verb in VERBS.items()},
        "grades": GRADE_USE, "notes": NOTES, "scripts": list(SCRIPTS),
    }  # fmt: skip


def form(bench: Bench, asked: Asked) -> Answer:
    """Fields of a kind of joint."""
    if asked.path["kind"] not in KINDS:
        return refusal("no such joint", 404)
    return fields.form_of(asked.path["kind"])


def check(bench: Bench, asked: Asked) -> Answer:
    """Mistakes beside their fields, or what is known at once: order, times, heat, seams."""
    try:
        text, where = bench.form_text(asked.body)
    except CaseError as error:
        return {"ok": False, "messages": messages_of(error, str(bench.form_file))}
    return bench.check(text, where)


def words(bench: Bench, asked: Asked) -> Answer:
    """What the case means, as `weldsim check` says it."""
    lines = list(_meshed(bench, asked, tasks.words))
    cut = lines.index("Cautions:") if "Cautions:" in lines else len(lines)
    cost = next((line for line in lines if line.startswith("Expect about")), "")
    shown = [line for line in lines[2:cut] if line.strip()]
    return {"lines": list(map(str, shown)), "lines_us": in_us(shown), "cost": str(cost)}


def shape(bench: Bench, asked: Asked) -> Answer:
    """The part as the page draws it."""
    return _meshed(bench, asked, tasks.shape)


def _meshed(bench: Bench, asked: Asked, task: Callable[..., Any]) -> Any:
    """What a task that takes meshing makes of a case; a wrong case does not get that far."""
    text, where = bench.form_text(asked.body)
    checked = bench.check(text, where)
    if not checked["ok"]:
        raise CaseError("\n".join(m["text"] for m in checked["messages"]))
    return bench.keep((task, text, where), lambda: bench.worker.call(task, text, where))


def case_text(bench: Bench, asked: Asked) -> Answer:
    """The fields as a case file, right or wrong, with the comments of the file they came from."""
    text, _ = bench.form_text(asked.body, anchor=False)
    return {"text": bench.commented(asked.body, text)}


def open_text(bench: Bench, asked: Asked) -> Answer:
    """Tables of a case file that was brought to the page."""
    text = asked.body.get("text")
    if not isinstance(text, str):
        raise WeldsimError("there is no text in it")
    text = text.removeprefix("\ufeff")
    # dotted keys without end take minutes to read
    tables = bench.reader.call(tasks.tables_of, text, limit=CHECK_LIMIT)
    return opened(tables, None, text)


def open_file(bench: Bench, asked: Asked) -> Answer:
    """Tables of a case file that lies in the work folder."""
    id = asked.path["id"]
    base = bench.base(id)
    if base is None:
        raise WeldsimError("no such case file")
    return opened(base.tables, id)


def opened(tables: dict, base: str | None, source: str = "") -> dict:
    """What the page gets of a case that is opened.

    Parameters
    ----------
    tables : dict
    base : str or None
        Id of what it was read from, where the page is to name it again.
    source : str, optional
        Text it was read from, whose comments are to be kept where there is no base.

    Raises
    ------
    WeldsimError
        If no form can show it.
    """
    part = tables.get("part")
    kind = part.get("kind") if isinstance(part, dict) else None
    if not isinstance(kind, str) or kind not in KINDS:
        raise WeldsimError(f"not a case file: [part] kind is {kind!r}")
    if wrong := wrong_sections(tables):
        raise WeldsimError("; ".join(wrong))
    return {"tables": tables, "kind": kind, "base": base, "source": source}


def material(bench: Bench, asked: Asked) -> Answer:
    """Curves of a metal, as a picture or in numbers."""
    name, units = _material(bench, asked), asked.query.get("units", "metric")
    if units not in UNITS:
        raise WeldsimError(f"units: {units!r} is not allowed, allowed: {', '.join(UNITS)}")
    drawn = asked.path["what"] == "picture"
    if not drawn and asked.path["what"] != "numbers":
        raise WeldsimError("allowed: picture, numbers")
    task: Callable[..., Any] = material_task.picture if drawn else material_task.numbers
    changed = Path(name).stat().st_mtime if name.endswith(".toml") else 0.0
    made = bench.keep((task, name, units, changed), lambda: bench.worker.call(task, name, units))
    if drawn:
        return file_response(made, "curves.svg", "image/svg+xml", shown=True)
    return {"title": made[0], "text": made[1]}


def _material(bench: Bench, asked: Asked) -> str:
    """A material that comes with weldsim, or the file of the case that the fields began from."""
    name = asked.query.get("name", "")
    if name in list_materials():
        return name
    base = bench.base(asked.query.get("base"))
    part = base.tables.get("part") if base else None
    if base is not None and isinstance(part, dict) and part.get("material") == name:
        path = base.path.parent / name
        if name.endswith(".toml") and path.is_file():
            return str(path)
    raise WeldsimError(f"no metal of that name, known: {', '.join(list_materials())}")


def shelf(bench: Bench, asked: Asked) -> Answer:
    """Case files and runs that lie in the work folder, and what comes with weldsim."""
    jobs = bench.queue.store.listed()
    return {"cases": case_list.listed_cases(bench.work), "work": str(bench.work),
            "runs": runs.listed_runs(bench.work, jobs), "examples": case_list.listed_examples(),
            "plans": studies.listed_plans(bench.work, jobs),
            "lessons": [{"name": ls.name, "title": ls.title, "summary": ls.summary}
                        for ls in lessons()]}  # fmt: skip
