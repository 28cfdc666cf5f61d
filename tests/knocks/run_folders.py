"""Run folders from elsewhere, spoiled: each file read as it must be, or refused in words.

The folders are invented ones, so that hundreds take a minute; what reads them is what shows a run:
words, views, the report, the record of a result.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests import synthetic_run
from tests.knocks.tally import Tally, attempt
from weldsim.errors import StoreError
from weldsim.report.report import report_page
from weldsim.report.viewer import scene_data
from weldsim.runs.folder import RunFolder
from weldsim.runs.reading import read_manifest, read_run, read_source
from weldsim.runs.recorded_case import recorded_case, recorded_paths
from weldsim.runs.result import read_result
from weldsim.text.words import final_words

DEEP: Any = []
for _ in range(200):
    DEEP = [DEEP]
NASTY: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2.5, 1e308, -1e308, 10**400, float("nan"), float("inf"), "", " ",
    "x" * 300, "x" * 40_000, "\x1b[2J", "\u202e", "<script>alert(1)</script>", "../../etc/passwd",
    "/dev/zero", "+x", "nobody", "mm", [], {}, [[]], [None], [1, 2], ["a"], {"a": 1}, {"": None},
    DEEP, [0.0, 0.0, 0.0], [1e308, 0, 0],
)  # fmt: skip
LETTERS = b'\x00\xff\n",:[]{}0123456789eE.-+<>/&;'
WHY = {
    "how": "by time", "error": "", "in_words": ["a"], "in_words_us": ["a"], "rows": [],
    "readings": {"pointer_up_mrad": {"gauge_value": 1.0, "residual": 0.0, "welds": {"A": 1.0},
                                     "others": {"clamps": 0.0}}},
    "pictures": ["pictures/why_up.png"],
}  # fmt: skip


def made(path: Path) -> Path:
    """A folder like that of a complete run."""
    folder = synthetic_run.write_run(path, frames=(0.0, 60.0, 300.0, synthetic_run.END))
    folder.write_json("why.json", WHY)
    return folder.path


def knock(count: int, seed: int = 1, reports: int = 12) -> Tally:
    """Spoil so many folders and show them; one in `reports` as a whole report too."""
    tally, chance = Tally("run folders"), random.Random(seed)
    with tempfile.TemporaryDirectory() as at:
        whole = made(Path(at) / "whole")
        for number in range(count):
            spoiled = Path(at) / "run"
            shutil.copytree(whole, spoiled)
            what = chance.choice(MUTATIONS)(spoiled, chance)
            report = number % reports == 0
            attempt(tally, lambda p=spoiled, r=report: shown(p, r), StoreError, what)
            shutil.rmtree(spoiled)
    return tally


def shown(path: Path, report: bool = False) -> None:
    """All that is read of a folder to show it, or to resume it."""
    record = read_run(path)
    final_words(record)
    recorded_case(record)
    recorded_paths(record)
    read_result(path).error_estimate  # noqa: B018  # a property that reads
    read_manifest(path)
    if (path / "case.json").exists():
        read_source(path)
    folder = RunFolder.open(path)
    assert folder.status
    if record.frames:
        scene_data(path, most_bytes=2e5)
    if report:
        report_page(record)


def spoiled_json(name: str) -> Callable[[Path, random.Random], str]:
    """Entries of a record changed or left out; says which."""

    def spoil(folder: Path, chance: random.Random) -> str:
        path = folder / name
        if not path.exists():
            return ""
        value = json.loads(path.read_text(encoding="utf-8"))
        said = ""
        for _ in range(chance.choice((1, 1, 1, 2))):
            said += f"{name} {spoil_entry(value, chance)}; "
        path.write_text(json.dumps(value), encoding="utf-8")
        return said

    return spoil


def spoil_entry(value: Any, chance: random.Random) -> str:
    """Change one entry somewhere in a record, in place; say which."""
    place, key, way = value, None, ""
    while isinstance(place, dict | list) and place:
        keys = list(place) if isinstance(place, dict) else list(range(len(place)))
        key = chance.choice(keys)
        way += f".{key}"
        if not isinstance(place[key], dict | list) or not place[key] or chance.random() < 0.25:
            break
        place = place[key]
    if key is None:
        return "empty"
    if chance.random() < 0.2:
        del place[key]
        return f"{way} left out"
    place[key] = chance.choice(NASTY)
    return f"{way} = {place[key]!r:.60}"


def spoiled_bytes(pattern: str) -> Callable[[Path, random.Random], str]:
    """Bytes of a file changed, or its end cut off."""

    def spoil(folder: Path, chance: random.Random) -> str:
        found = sorted(folder.glob(pattern))
        if not found:
            return ""
        path = chance.choice(found)
        text = bytearray(path.read_bytes())
        if chance.random() < 0.3:
            text = text[: chance.randrange(len(text) + 1)]
        for _ in range(chance.choice((1, 3, 20))):
            if text:
                text[chance.randrange(len(text))] = chance.choice(LETTERS)
        path.write_bytes(bytes(text))
        return f"bytes of {path.name}"

    return spoil


def _other_kind(folder: Path, chance: random.Random) -> str:
    """A folder, a link or a device where a file belongs, and the other way round."""
    names = ["run.json", "summary.json", "gauges.csv", "why.json", "fields/run.pvd", "fields",
             "pictures", "state", "fields/frame_0000.vtu"]  # fmt: skip
    path = folder / chance.choice(names)
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
    kind = chance.choice(("nothing", "folder", "link", "loop", "device", "pipe"))
    if kind == "folder":
        path.mkdir()
    elif kind == "link":
        path.symlink_to("/etc")
    elif kind == "loop":
        path.symlink_to(path.name)
    elif kind == "device":
        path.symlink_to("/dev/zero")
    elif kind == "pipe" and hasattr(os, "mkfifo"):
        os.mkfifo(path)
    return f"{path.name}: {kind}"


def _csv(folder: Path, chance: random.Random) -> str:
    path = folder / "gauges.csv"
    rows = path.read_text(encoding="utf-8").split("\n")
    at = chance.randrange(len(rows))
    cells = rows[at].split(",")
    put = ("", "nan", "inf", "1e308", "x", "-1", '"', "0x10", "9" * 5000, "time_s", "a_b_furlongs",
           "1_0")  # fmt: skip
    cells[chance.randrange(len(cells))] = chance.choice(put)
    rows[at] = ",".join(cells) if chance.random() < 0.8 else ",".join(cells[:-1])
    path.write_text("\n".join(rows), encoding="utf-8")
    return f"gauges.csv row {at}: {rows[at][:80]}"


MUTATIONS: tuple[Callable[[Path, random.Random], str], ...] = (
    *[spoiled_json("run.json")] * 4, spoiled_json("summary.json"), spoiled_json("why.json"), _csv,
    spoiled_bytes("*.json"), spoiled_bytes("gauges.csv"), spoiled_bytes("fields/run.pvd"),
    spoiled_bytes("fields/*.vtu"), _other_kind,
)  # fmt: skip
