"""What the page's fields hold as a case, and mistakes as messages beside the fields they name.

The form sends the tables of a case file as JSON. They become TOML text and go through `parse_case`
like any file. What would name a file is refused, unless a case file in the work folder names it.
"""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomli_w

from weldsim.errors import CaseError
from weldsim.materials.shelf import list_materials
from weldsim.page.fields import FROM_FILE
from weldsim.schema.mistakes import Mistake
from weldsim.schema.sections import MANY, NAMES

NAMES_A_FILE = re.compile(
    r"(^|_)(file|path|folder|mesh)$"
)  # keys whose value is looked for on disk
KEPT_SHOP = r"shops/[a-z0-9][a-z0-9-]{0,39}/shop\.toml"  # a calibrated shop of the work folder
WHOLE_SECTION = re.compile(r"\[\[(\w+)\]\]: (.*)", re.DOTALL)  # of a list that is missing
LARGEST = 2**63  # of a whole number in TOML
MOST_ENTRIES, MOST_TEXT, DEEPEST = 100, 2000, 6


class FormError(CaseError):
    """Fields that make no case; the message is one line."""


@dataclass(frozen=True)
class Base:
    """What the fields began from: a case file of the work folder, or the case of a job or a run.

    Attributes
    ----------
    path : Path
        Files it names are looked for beside this one.
    tables : dict
    text : str
        What the tables were read from.
    """

    path: Path
    tables: dict
    text: str = ""

    @classmethod
    def of(cls, path: Path, text: str) -> Base:
        """From the text of a case and the file it would lie in.

        Parameters
        ----------
        path : Path
            Where the case lies or would lie.
        text : str
            TOML.

        Returns
        -------
        Base
            With its tables read.
        """
        return cls(path, read_tables(text), text)

    @classmethod
    def read(cls, path: Path) -> Base:
        """From a case file; `FormError` if it cannot be read.

        Parameters
        ----------
        path : Path
            A case file.

        Returns
        -------
        Base
            With its tables read.
        """
        try:
            text = path.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            why = getattr(error, "strerror", error)
            raise FormError(f"{path.name}: cannot be read: {why}") from None
        return cls.of(path, text)


def read_tables(text: str) -> dict:
    """Tables of a case file's text; `FormError` when it is no TOML.

    Parameters
    ----------
    text : str
        TOML.

    Returns
    -------
    dict
        As JSON can hold it.
    """
    try:
        return _plain(tomllib.loads(text))
    except ValueError as error:  # TOMLDecodeError, or a number of thousands of digits
        raise FormError(f"not a TOML file: {error}") from None
    except RecursionError:
        raise FormError("not a case file: tables in tables without end") from None


def _plain(value: Any, deep: int = 0) -> Any:
    """As JSON can hold it: TOML's dates, nan and inf become text."""
    if isinstance(value, dict):
        return {k: _plain(v, deep + 1) for k, v in value.items()}
    if isinstance(value, list):
        return [_plain(v, deep + 1) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    return value if isinstance(value, (str, bool, int, float)) else str(value)


def wrong_sections(tables: dict) -> list[str]:
    """Sections of another shape than theirs, which no form can show, one line each.

    Parameters
    ----------
    tables : dict
        Of a case file.

    Returns
    -------
    list of str
        Empty where a form can show them all.
    """
    out = []
    if not isinstance(tables.get("title", ""), str):
        out.append('title: allowed: a line of text such as "Pivot arm"')
    for name in NAMES:
        value = tables.get(name)
        if value is None:
            continue
        if name not in MANY and not isinstance(value, dict):
            out.append(f"[{name}]: {value!r} is not a section with keys")
        elif name in MANY and not (isinstance(value, list) and all(map(_is_table, value))):
            out.append(f"[{name}]: wrong brackets, allowed: one [[{name}]] section or more")
    return out


def _is_table(value: object) -> bool:
    return isinstance(value, dict)


def form_text(tables: object, base: Base | None = None) -> str:
    """TOML text of what the fields hold.

    Parameters
    ----------
    tables : dict
        As JSON brings it, so anything at all.
    base : Base, optional
        What it began from.

    Returns
    -------
    str
        TOML that holds what the fields do, blanks left out.

    Raises
    ------
    FormError
        If it is no case, or names a file it may not.
    """
    if not isinstance(tables, dict):
        raise FormError("a case is a set of sections")
    kept = _without_blanks(tables, 0)
    _refuse_files(kept, base)
    return tomli_w.dumps(kept)


def _without_blanks(value: Any, deep: int) -> Any:
    """The same without what is left blank; refuses what no case file looks like."""
    if deep > DEEPEST:
        raise FormError("a case has no tables in tables as deep as that")
    if isinstance(value, (dict, list)) and len(value) > MOST_ENTRIES:
        raise FormError(f"a section of a case has at most {MOST_ENTRIES} entries")
    if isinstance(value, dict):
        kept = {k: _without_blanks(v, deep + 1) for k, v in value.items()}
        # an emptied list of sections is a section left out, an empty section is kept
        return {k: v for k, v in kept.items() if v is not None and v != "" and v != []}
    if isinstance(value, list):
        return [_without_blanks(v, deep + 1) for v in value if v is not None]
    if isinstance(value, str) and len(value) > MOST_TEXT:
        raise FormError(f"a value of a case has at most {MOST_TEXT} letters")
    if isinstance(value, (int, float)) and not abs(value) < LARGEST:  # nan is not, either
        raise FormError(f"a case holds no number like {str(value)[:20]}")
    if value is None or isinstance(value, (str, bool, int, float)):
        return value
    raise FormError(f"a case holds no {type(value).__name__}")


def names_files(tables: dict) -> bool:
    """Whether a case names a file, so that a form that began from it needs its base.

    Parameters
    ----------
    tables : dict
        Of a case file.

    Returns
    -------
    bool
        True for a part or a material that is a file.
    """
    try:
        _refuse_files(tables, None)
    except FormError:
        return True
    return False


def _part(tables: dict) -> dict:
    part = tables.get("part")
    return part if isinstance(part, dict) else {}


def _refuse_files(tables: dict, base: Base | None) -> None:
    """Stop at what names a file, unless the case behind the form says the same."""
    part, own = _part(tables), _part(base.tables if base else {})
    if part.get("kind") in FROM_FILE and own.get("kind") != part.get("kind"):
        kind = part["kind"]
        raise _refusal(
            "part", "kind", kind,
            f"{kind!r} needs a file: put the case file and its {kind} file into the work folder of "
            "this page, then open it from the list",
        )  # fmt: skip
    for key, value in part.items():
        if NAMES_A_FILE.search(key) and value != own.get(key):
            why = f"{value!r} is not allowed here: a page names no files"
            raise _refusal("part", key, value, why)
    material = part.get("material")
    if isinstance(material, str) and material not in list_materials():
        if base is None or material != own.get("material"):
            listed = ", ".join(list_materials())
            why = f"{material!r} is not allowed here, allowed: {listed}"
            raise _refusal("part", "material", material, why)
    for name, section in tables.items():
        entries = section if isinstance(section, list) else [section]
        for entry in entries if name != "part" else ():
            for key in entry if isinstance(entry, dict) else ():
                if NAMES_A_FILE.search(key) and not _is_own_shop(name, entry[key], base):
                    raise _refusal(name, key, entry[key], "a page names no files")
    _refuse_varied_files(tables)


def _is_own_shop(section: str, value: object, base: Base | None) -> bool:
    """Whether it is a shop that this page keeps, or that the case behind the form names."""
    own = base.tables.get("shop") if base else None
    same = isinstance(own, dict) and value == own.get("file")
    kept = isinstance(value, str) and re.fullmatch(KEPT_SHOP, value) is not None
    return section == "shop" and (same or kept)


def _refuse_varied_files(tables: dict) -> None:
    """A [plan] may vary any key of the case, but not what a page may not name."""
    plan = tables.get("plan")
    varied = plan.get("vary") if isinstance(plan, dict) else None
    for key, values in varied.items() if isinstance(varied, dict) else ():
        last = key.rpartition(".")[2]
        given = values if isinstance(values, list) else [values]
        if NAMES_A_FILE.search(last):
            why = f"{key!r} is not allowed here: a page names no files"
            raise _refusal("plan", "vary", key, why)
        if last == "material" and any(v not in list_materials() for v in given):
            listed = ", ".join(list_materials())
            why = f"{key!r}: {given} is not allowed here, allowed: {listed}"
            raise _refusal("plan", "vary", key, why)


def _refusal(section: str, key: str, value: object, why: str) -> FormError:
    mistake = Mistake(section, "", key, value, why)
    return FormError(str(mistake), [mistake])


def messages_of(error: CaseError, source_file: str = "") -> list[dict]:
    """A refusal mistake by mistake: `section`, `name` of its entry, `key` and `text`, or blank.

    Parameters
    ----------
    error : CaseError
        What a case was refused with.
    source_file : str, optional
        Its name stands before each line and is left out.

    Returns
    -------
    list of dict
        One a mistake, in the order they were found.
    """
    if error.mistakes:
        return [_message(mistake) for mistake in error.mistakes]
    lines = str(error).splitlines()
    texts = [t.removeprefix(f"{source_file} ").removeprefix(f"{source_file}: ") for t in lines]
    return [{"section": "", "name": "", "key": "", "text": text} for text in texts]


def _message(mistake: Mistake) -> dict:
    key, _, more = mistake.key.partition(" ")  # "order front speed": of one weld in the order
    text = f"{more}: {mistake.allowed}" if more else mistake.allowed
    for quoted in ("without quotes", "in quotes"):  # of the file: nobody types them into a field
        text = text.replace(f" {quoted}", "")
    section = mistake.section
    if not section and (whole := WHOLE_SECTION.fullmatch(text)):
        section, text = whole[1], whole[2]
    return {"section": section, "name": mistake.name, "key": key, "text": text}
