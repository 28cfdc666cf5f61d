"""What became of attacks: accepted, refused in words, or broken."""

from __future__ import annotations

import traceback
import unicodedata
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from weldsim.errors import WeldsimError

LONGEST = 3000  # letters of one line of a message: more is what the attacker wrote
ALLOWED = "\n"


@dataclass
class Tally:
    """Outcomes of one kind of attack."""

    name: str
    accepted: int = 0
    refused: int = 0
    breaks: Counter[str] = field(default_factory=Counter)
    first: dict[str, str] = field(default_factory=dict)

    @property
    def tried(self) -> int:
        return self.accepted + self.refused + self.broke

    @property
    def broke(self) -> int:
        return sum(self.breaks.values())

    def broken(self, where: str, attack: object) -> None:
        self.breaks[where] += 1
        self.first.setdefault(where, str(attack))

    def row(self) -> str:
        """The line of the table in DEVELOPERS.md."""
        return f"| {self.name} | {self.tried} | {self.refused} | {self.accepted} | {self.broke} |"

    def report(self) -> str:
        """Where it broke, the worst first, with the attack that first did it."""
        out = []
        for where, count in self.breaks.most_common():
            shown = self.first[where]
            shown = shown if len(shown) < 600 else f"{shown[:600]}..."
            out.append(f"{count} x {where}\n{shown!r}")
        return "\n".join(out)


def attempt(
    tally: Tally,
    act: Callable[[], object],
    refusal: type[WeldsimError] | tuple[type[WeldsimError], ...] = WeldsimError,
    attack: object = "",
) -> object:
    """Do what is attacked; note what became of it, and what it gives back where it does."""
    try:
        found = act()
    except refusal as error:
        wrong = unreadable(str(error))
        if wrong:
            tally.broken(f"message: {wrong}", f"{error!s:.300} <- {attack}")
        else:
            tally.refused += 1
        return None
    except (Exception, SystemExit) as error:
        place = traceback.extract_tb(error.__traceback__)[-1]
        own = [f for f in traceback.extract_tb(error.__traceback__) if "/weldsim/" in f.filename]
        place = own[-1] if own else place
        file = place.filename.rpartition("/weldsim/")[2]
        tally.broken(f"{type(error).__name__} in {file}:{place.lineno}: {error!s:.80}", attack)
        return None
    tally.accepted += 1
    return found


def unreadable(message: str) -> str:
    """What is wrong with a message: nothing said, a control character, a line without end."""
    if not message.strip():
        return "empty"
    for letter in message:
        if letter not in ALLOWED and unicodedata.category(letter) in ("Cc", "Cf", "Zl", "Zp"):
            return f"control character {ord(letter):#x}"
    if max(map(len, message.split("\n"))) > LONGEST:
        return "a line without end"
    return ""
