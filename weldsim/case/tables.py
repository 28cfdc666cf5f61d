"""The tables of a case file, read section by section; all mistakes are gathered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from weldsim.case.keys import section_model
from weldsim.joints.protocol import JointKind
from weldsim.joints.registry import joint_kind, kind_of
from weldsim.schema.mistakes import Mistake
from weldsim.schema.quantities import Section
from weldsim.schema.section_checks import check_section

MOST_ENTRIES = 500  # of a section that may stand more than once


@dataclass
class Tables:
    """Tables of a case file and what was found wrong with them so far.

    Attributes
    ----------
    raw : dict
        Tables as TOML gives them.
    folder : Path
        Of the case, where files it names are looked for.
    mistakes : list of Mistake
        Added to while reading.
    """

    raw: dict[str, Any]
    folder: Path
    mistakes: list[Mistake] = field(default_factory=list)

    @property
    def kind_name(self) -> str:
        """Name of the joint kind."""
        return kind_of(self.raw)

    @property
    def kind(self) -> JointKind:
        """What the joint kind answers."""
        return joint_kind(self.kind_name)

    def say(self, section: str, name: str, key: str, value: object, text: str) -> None:
        """Note a mistake.

        Parameters
        ----------
        section, name, key : str
            Where it stands; see `Mistake`.
        value : object
            What stands there.
        text : str
            What is wrong with it and what is allowed.
        """
        self.mistakes.append(Mistake(section, name, key, value, text))

    def one(self, section: str, default: Mapping[str, Any] | None = None) -> Any:
        """A section that stands once; what is wrong in it stands as `WRONG`.

        Parameters
        ----------
        section : str
            Its name.
        default : dict, optional
            What counts where the file has none; missing is a mistake when left out.

        Returns
        -------
        Section
            With defaults filled in.
        """
        if section not in self.raw and default is None:
            self.say(section, "", "", None, "missing section")
        return self._checked(section, "", self.raw.get(section, default))

    def many(self, section: str, needed: bool) -> list[tuple[str, Any]]:
        """Entries of a section that may stand more than once.

        Parameters
        ----------
        section : str
            Its name.
        needed : bool
            Whether it is a mistake to have none.

        Returns
        -------
        list of (str, Section)
            By name; one without a name of its own goes by its number.
        """
        if not needed and section not in self.raw:
            return []
        entries = self.raw.get(section)
        if not isinstance(entries, list) or not entries:
            text = f"[[{section}]]: missing, allowed: one [[{section}]] section or more"
            self.say("", "", "", entries, text)
            return []
        if len(entries) > MOST_ENTRIES:
            text = f"[[{section}]]: {len(entries)} of them, allowed: up to {MOST_ENTRIES}"
            self.say("", "", "", len(entries), text)
            return []
        out: list[tuple[str, Any]] = []
        for number, entry in enumerate(entries, 1):
            name = entry.get("name") if isinstance(entry, dict) else None
            known = [n for n, _ in out]
            if section == "tack":
                name = str(number)
            elif not isinstance(name, str) or not name or name in known:
                if name in known:
                    text = f"{name!r} is used twice, allowed: each name once"
                    self.say(section, str(number), "name", name, text)
                name = str(number)
            out.append((name, self._checked(section, name, entry)))
        return out

    def _checked(self, section: str, name: str, values: Any) -> Section:
        model = section_model(section, self.kind_name)
        return check_section(section, model, values, self.mistakes, name)
