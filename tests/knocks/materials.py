"""Material files that come with weldsim, spoiled: each must load or be refused in words."""

from __future__ import annotations

import random
import tempfile
from pathlib import Path

import numpy as np

from tests.knocks.case_files import MUTATIONS
from tests.knocks.tally import Tally, attempt
from tests.places import ROOT
from weldsim.errors import MaterialError
from weldsim.materials.material import TABLES, load_material

FILES = sorted((ROOT / "weldsim" / "data" / "materials").glob("*.toml"))
NUMBERS = (
    "0", "-1", "1e308", "-1e308", "1e-308", "inf", "nan", "5e3", "20", "[0]", "[[20, 1]]",
    "[[20, 1], [20, 2]]", "[[20, 1], [10, 2]]", "[[20, 1, 2]]", "[[20, nan], [30, 1]]",
    "[{ from = 1, to = 2 }]", '"1e12 GPa"', '"0 W/m/K"', '"20 degC"', "9" * 4400,
)  # fmt: skip


def knock(count: int, seed: int = 1) -> Tally:
    """Load so many spoiled material files, and ask those that load for all they know."""
    tally, chance = Tally("materials"), random.Random(seed)
    texts = [p.read_text(encoding="utf-8") for p in FILES]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "metal.toml"
        for _ in range(count):
            text = chance.choice(texts)
            for _ in range(chance.choice((1, 1, 2, 3))):
                text = chance.choice((*MUTATIONS, _number, _number, _digit))(text, chance)
            path.write_text(text, encoding="utf-8", newline="")
            attempt(tally, lambda: _used(path), MaterialError, text)
    return tally


def _used(path: Path) -> None:
    material = load_material(path)
    for name in TABLES:
        temperatures, values = material.table(name)
        if not (np.all(np.diff(temperatures) > 0) and np.all(np.isfinite(values))):
            raise ValueError(f"table of {name} is no table")


def _number(text: str, chance: random.Random) -> str:
    """Another number or table for one that stands there."""
    lines = text.split("\n")
    places = [i for i, line in enumerate(lines) if "=" in line]
    if not places:
        return text
    at = chance.choice(places)
    lines[at] = f"{lines[at].partition('=')[0]}= {chance.choice(NUMBERS)}"
    return "\n".join(lines)


def _digit(text: str, chance: random.Random) -> str:
    """One digit for another."""
    places = [i for i, letter in enumerate(text) if letter.isdigit()]
    if not places:
        return text
    at = chance.choice(places)
    return f"{text[:at]}{chance.choice('0123456789e.-')}{text[at + 1 :]}"
