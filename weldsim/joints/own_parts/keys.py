"""Keys of a user's own part, and what stops it from being read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, ValidationError

from weldsim.errors import MeshError
from weldsim.joints.own_parts.refusal import NotAllowed
from weldsim.schema.quantities import Axis, Place, Section, Size
from weldsim.schema.section_checks import key_mistake
from weldsim.system.files import absolute, is_file

SCALES = {"mm": 1e-3, "m": 1.0}  # m in a unit of the file

MOST_BYTES = 300 * 2**20  # of a mesh or a drawing


class SeamKeys(Section):
    """What the case says about a seam; the rest comes from the file or from `[part]`."""

    points: tuple[tuple[Place, Place, Place], ...] | None = None
    inward: Axis | tuple[float, float, float] | None = None
    width: Size | None = None
    depth: Size | None = None


def tables(model: type[Section]) -> Any:
    """A pydantic type: tables of one model by name, with mistakes named inside the table.

    Parameters
    ----------
    model : type of Section
        What each table holds.

    Returns
    -------
    type
        For the annotation of a field.
    """

    def read(value: Any) -> Any:
        if not isinstance(value, dict):
            raise ValueError(f"{value!r} is not a table of names with keys")
        out = {}
        for name, keys in value.items():
            try:
                out[name] = keys if isinstance(keys, model) else model.model_validate(keys)
            except ValidationError as error:
                first = error.errors()[0]
                if not first["loc"]:
                    raise ValueError(f"{name}: {keys!r} is not a table with keys") from None
                known = [f.alias or n for n, f in model.model_fields.items()]
                raise ValueError(f"{name} {_sentence(first, known)}") from None
        return out

    return Annotated[dict[str, model], BeforeValidator(read)]  # type: ignore[valid-type]


def _sentence(error: Any, known: list[str]) -> str:
    """One pydantic complaint about a key of a table."""
    place = [str(p) for p in error["loc"]]
    if place[0] == "points" and error["type"] != "value_error":
        return 'points: write places of three lengths, such as [["0 mm", "0 mm", "3 mm"], ...]'
    return f"{place[0]}: {key_mistake({**error, 'loc': tuple(place[:1])}, 'seam', known)}"


def complaint(job: Callable[[], object]) -> list[tuple[str, str]]:
    """What stops a job, as (key, sentence); empty when nothing does."""
    try:
        job()
    except NotAllowed as error:
        return [(error.key, error.sentence)]
    except MeshError as error:
        return [("file", f"{error}")]
    return []


def file_stamp(file: str) -> tuple[int, int]:
    """Changes whenever the file does; `NotAllowed` where there is none."""
    path = Path(file)
    if not is_file(path):
        raise NotAllowed("file", f"{file!r} is not found, allowed: a file beside the case")
    at = path.stat()
    if at.st_size > MOST_BYTES:
        raise NotAllowed("file", f"{path.name} is too large, allowed: {MOST_BYTES // 2**20} MB")
    return at.st_mtime_ns, at.st_size


def beside_case(part: Any, folder: Path) -> Any:
    """The part with the absolute path of its file, which is looked for beside the case.

    Whether the file is there is said by the kind's `check`.
    """
    return part.model_copy(update={"file": str(absolute(Path(folder) / part.file))})
