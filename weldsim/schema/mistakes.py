"""A mistake of a case file as a record: where it is, what stands there and what may."""

from __future__ import annotations

from dataclasses import dataclass

from weldsim.errors import readable


@dataclass(frozen=True)
class Mistake:
    """One mistake; its text is one line, to be put behind the name of the file.

    Attributes
    ----------
    section : str
        Section of the case, such as "weld"; empty for a key that stands in none.
    name : str
        Name or number of the entry where a section may stand more than once, else empty.
    key : str
        Key that is wrong; empty where the whole section is.
    value : object
        What stands there, None where nothing does.
    allowed : str
        What is wrong and what may stand there, in words.
    """

    section: str
    name: str
    key: str
    value: object
    allowed: str

    def __post_init__(self) -> None:
        for name in ("section", "name", "key", "allowed"):
            object.__setattr__(self, name, readable(getattr(self, name)).replace("\n", " "))

    @property
    def where(self) -> str:
        """The section as the file has it, such as "[weld.A]"; empty without one."""
        if not self.section:
            return ""
        return f"[{self.section}.{self.name}]" if self.name else f"[{self.section}]"

    def __str__(self) -> str:
        place = " ".join(p for p in (self.where, self.key) if p)
        return f"{place}: {self.allowed}" if place else self.allowed
