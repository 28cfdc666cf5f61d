"""Case files of the project, spoiled: each must be read or refused in words, never break.

`spoiled` gives the same files for the same seed. What a mutation puts in is what people and
programs get wrong, and what an attacker would try: sizes beyond all measure, depth without end,
control characters, other types, keys twice, cut and shuffled lines.
"""

from __future__ import annotations

import random
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.knocks.tally import Tally, attempt
from tests.places import CASES, ROOT
from weldsim.case.load import load_case
from weldsim.errors import WeldsimError
from weldsim.text.describe import describe

STARTERS = sorted((ROOT / "weldsim" / "data" / "starters").glob("*.toml"))
SOURCES = [p.read_text(encoding="utf-8") for p in (*sorted(CASES.glob("*.toml")), *STARTERS)]
ESCAPE = "\\u001b[2J"  # in TOML: clears a terminal that prints it
NASTY = (
    "0", "-1", "1", "1e308", "-1e308", "1e-308", "inf", "-inf", "nan", "true", "false", '""', '" "',
    "[]", "{}", "[[]]", '["a", 1]', "[1, 2, 3]", "[1e308, 1e308, 1e308]", '{a = 1}', "1979-05-27",
    "07:32:00", "0x7fffffffffffffffffff", "9" * 5000, "-" + "9" * 4999, "1_000_000",
    '"0 mm"', '"-5 mm"', '"1e308 mm"', '"1e-300 mm"', '"1e400 mm"', '"nan mm"', '"inf mm"', '"5"',
    '"5 s"', '"5 furlongs"', '"mm"', '"5 mm mm"', '"5,5 mm"', '"1/0 in"', '"1/8 in"', '"0 degC"',
    '"-300 degC"', '"1e308 degC"', '"5 A"', '"1e308 A"', '"150 %"', '"-1 %"', '"cold"', '"never"',
    '"1e9 s"', '"1e308 s"', '"' + "x" * 300 + '"', '"' + "x" * 20000 + '"', '"../../../etc/passwd"',
    '"/dev/zero"', '"/dev/null"', '"."', '"a/b/c.toml"', '"' + "y" * 300 + '.toml"',
    '"' + "z" * 300 + '.step"', f'"{ESCAPE}"', '"line\\nline"', '"tab\\tnul\\u0000"', '"\\u202e"',
    '"é"', '"²"', '"١"', '"front/99999999999999999999"', '"front/0:up"', '"front/-1:up"',
    '"front:up:down"', '":"', '"/"', '["front/' + "9" * 5000 + ':up"]', '[["front:up"]]',
    '"+x"', '"x"', '"free end"', '{ kind = "after", weld = "nobody" }', '{ kind = "below" }',
    "[" * 2000 + "]" * 2000, "[" * 60 + "]" * 60, "{a=" * 90 + "1" + "}" * 90,
    '"""many\nlines"""', "'literal'", '"unfinished', "= =", "",
)  # fmt: skip
MESHED = 16  # one in so many is put into words, which meshes it: most of the time goes there
LETTERS = "abcxyz019 .,=[]{}\"'#\\\n\t\0\x1b\x7f\x9b\u202eé²\u2028\ufeff"
KEYS = ("kind", "at", "name", "size", "file", "material", "seam", "order", "start", "on", "off",
        "pattern", "segment", "from", "to", "pass", "number", "seams", "faces", "unit")  # fmt: skip


def spoiled(count: int, seed: int = 1) -> Iterator[str]:
    """So many case files with one to three mutations each, always the same."""
    chance = random.Random(seed)
    for _ in range(count):
        text = chance.choice(SOURCES)
        for _ in range(chance.choice((1, 1, 1, 2, 3))):
            text = chance.choice(MUTATIONS)(text, chance)
        yield text


def _lines_with_value(lines: list[str]) -> list[int]:
    return [i for i, line in enumerate(lines) if "=" in line and not line.lstrip().startswith("#")]


def _other_value(text: str, chance: random.Random) -> str:
    lines = text.split("\n")
    places = _lines_with_value(lines)
    if not places:
        return text
    at = chance.choice(places)
    lines[at] = f"{lines[at].partition('=')[0]}= {chance.choice(NASTY)}"
    return "\n".join(lines)


def _value_of_another(text: str, chance: random.Random) -> str:
    lines = text.split("\n")
    places = _lines_with_value(lines)
    if not places:
        return text
    at, other = chance.choice(places), chance.choice(places)
    lines[at] = f"{lines[at].partition('=')[0]}={lines[other].partition('=')[2]}"
    return "\n".join(lines)


def _new_key(text: str, chance: random.Random) -> str:
    lines = text.split("\n")
    lines.insert(
        chance.randrange(len(lines) + 1), f"{chance.choice(KEYS)} = {chance.choice(NASTY)}"
    )
    return "\n".join(lines)


def _lost_line(text: str, chance: random.Random) -> str:
    lines = text.split("\n")
    del lines[chance.randrange(len(lines))]
    return "\n".join(lines)


def _line_twice(text: str, chance: random.Random) -> str:
    lines = text.split("\n")
    lines.insert(chance.randrange(len(lines)), chance.choice(lines))
    return "\n".join(lines)


def _sections_shuffled(text: str, chance: random.Random) -> str:
    parts = text.split("\n[")
    head, rest = parts[0], parts[1:]
    chance.shuffle(rest)
    return "\n[".join([head, *rest])


def _section_again(text: str, chance: random.Random) -> str:
    parts = text.split("\n[")
    again = chance.choice(parts[1:] or [""])
    return text + ("\n[" + again) * chance.choice((1, 2, 12))


def _letter(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text) + 1)
    return text[:at] + chance.choice(LETTERS) + text[at + chance.choice((0, 1)) :]


def _cut(text: str, chance: random.Random) -> str:
    return text[: chance.randrange(len(text) + 1)]


MUTATIONS = (
    _other_value, _other_value, _other_value, _other_value, _value_of_another, _new_key,
    _lost_line, _line_twice, _sections_shuffled, _section_again, _letter, _cut,
)  # fmt: skip


def coincident(count: int) -> str:
    """The demo bar with so many welds at one place."""
    text = (CASES / "pivot_arm_one_bead.toml").read_text(encoding="utf-8")
    head, _, rest = text.partition("[[weld]]")
    weld, _, tail = rest.partition("\n[")
    named = (weld.replace('"A"', f'"W{n}"') for n in range(count))
    welds = "".join(f"[[weld]]{one}\n" for one in named)
    return f"{head}{welds}\n[{tail}"


def knock(count: int, seed: int = 1) -> Tally:
    """Read so many spoiled case files, and some with their spoiled value in a change."""
    tally, chance = Tally("case files"), random.Random(seed)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "case.toml"
        for number, text in enumerate(spoiled(count, seed)):
            path.write_text(text, encoding="utf-8", newline="")
            changes = _changes(chance) if number % 8 == 0 else ()
            words = number % MESHED == 0
            attempt(tally, lambda c=changes, w=words: _read(path, c, w), WeldsimError, text)
            left = [p.name for p in Path(folder).iterdir() if p.name != "case.toml"]
            if left:
                tally.broken("something was written", text)
    return tally


def _read(path: Path, changes: tuple[str, ...], words: bool) -> None:
    """Read a case; with `words` mesh it as well, as `weldsim check` does to tell what it costs."""
    case = load_case(path, changes)
    if words:
        describe(case)


def _changes(chance: random.Random) -> tuple[str, ...]:
    key = chance.choice(("part.length", "part.thickness", "solve.end", "weld.A.current", "gauge.at",
                         "schedule.order", "surroundings.preheat", "nothing.at.all", "x" * 300,
                         "part", "weld.", ".", "weld.A.start", "title"))  # fmt: skip
    value = chance.choice(NASTY)
    return (f"{key}={value}", "part.width=45 mm") if chance.random() < 0.3 else (f"{key}={value}",)
