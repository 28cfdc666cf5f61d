"""What every joint kind answers: the one place where it is written down.

A kind is a module of this room that ends in ``KIND = JointKind(...)``; nobody outside the room asks
which kind a part is, only what its `JointKind` answers. What is left out has the usual answer.
A `part` is the record the kind makes of the case's [part] section, lengths in m.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from weldsim.errors import CaseError
from weldsim.geometry.blocks import Blocks, mesh_blocks
from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints.cell_limit import MOST_CELLS, too_many_cells
from weldsim.schema.mistakes import Mistake
from weldsim.schema.quantities import Section
from weldsim.schema.records import Clamp, Gauge, Hold, Tack, Weld
from weldsim.schema.rules import clamp_rule, read_rule
from weldsim.schema.sections import JointHoldSection, JointWeldSection

Part = Any  # record of a kind's own
Welds = Sequence[tuple[str, Section]]  # [[weld]] sections by name
Fault = tuple[str, str]  # key of [part] and what is wrong with it
SECTIONS = (
    "part", "clamping", "clamp", "tack", "arc", "weld", "schedule", "preset", "surroundings",
    "gauge", "solve",
)  # fmt: skip
GAUGE_KINDS = ("pointer", "dial", "thermocouple", "bow", "gap", "reaction")


def _no_faults(part: Part) -> Sequence[Fault]:
    return ()


def _section_itself(section: Section) -> Part:
    return section


def _as_it_is(part: Part, folder: Path) -> Part:
    return part


def _seams_stand(
    part: Part, hold: Hold, written: Welds, mistakes: list[Mistake]
) -> tuple[Part, Welds]:
    return part, written


def _no_record(part: Part, weld: Weld) -> Mapping[str, Any]:
    return {}


def _no_gauge_faults(part: Part, gauge: Gauge) -> Sequence[Fault]:
    return ()


def _no_tacks(part: Part) -> tuple[Tack, ...]:
    return ()


def _no_gaps(part: Part) -> Mapping[str, tuple[Any, Any]]:
    return {}


@dataclass(frozen=True, kw_only=True)
class JointKind:
    """One kind of joint.

    Attributes
    ----------
    label : str
        What people call it.
    part_section, hold_section, weld_section : type of Section
        Keys of these sections of the case file.
    sections : tuple of str
        Sections a case about this kind may have.
    words : callable
        part -> one line for `weldsim check`.
    faces : callable
        part -> names of end faces, for clamps and pointers; also boundaries of the mesh.
    place : callable
        part, name -> coordinates of a named place, shape (3,) [m]; `CaseError` for an unknown one.
    seam_lines : callable
        part -> dict of name to `SeamLine`, in the kind's usual order.
    blocks : callable or None
        case, grade -> `Blocks` for Gmsh; None where `mesh_of_file` gives the mesh.
    mesh_of_file : callable or None
        case, grade -> (scikit-fem mesh with names, dict of region to volume [m3]).
    clamped_faces : tuple of str
        Faces clamped by ``[clamping] kind = "ends"``.
    pointer : mapping
        Usual place and directions of a pointer gauge: `at`, `aim`, `up`.
    read_part : callable
        [part] section -> part; the section itself when left out.
    hold_default : dict or None
        [clamping] section where the case has none; None where it has to have one.
    hold : callable or None
        [clamping] section, part, mistakes -> `Hold` and its clamps; the `clamped_faces` when left
        out.
    lay_out : callable
        part, hold, [[weld]] sections by name, mistakes -> part with the seams these define, and
        the sections as ones of seams (`JointWeldSection`).
    gauge_kinds : tuple of str
        Kinds of gauges that can be read here.
    gauge_places : callable or None
        part, kind of gauge -> names of places for it; `faces` when left out.
    gauge_faults : callable
        part, gauge -> what does not fit, as (key, sentence).
    bow_places : tuple of str
        Three places in line whose bow is read.
    check : callable
        part -> what does not fit, as (key, sentence).
    resolve : callable
        part, folder of the case -> part with the files it names found.
    default_tacks : callable
        part -> tacks where the case says ``tacks = "usual"``.
    gap_places : callable
        part -> dict of name to the two places that face each other across an open gap. [m]
    fused : callable or None
        part, seam, points (P, 3) -> which places in a partly fused land the seam fuses, (P,) bool.
    free_height : callable or None
        case, points (P, 3) -> axis of the piece that may lean before welding, and how far along it
        the points lie from the joint, (P,) [m]; None where no piece is free to.
    weld_record : callable
        part, weld -> further values by which a run folder says where the weld lies.
    spare_beads : callable or None
        case, prefix -> places for further beads where the part has no free seams: (bead, name of
        the seam whose weld it is like, words); None where further beads lie on free seams.
    with_beads : callable or None
        part, beads -> part with these as well.
    needs_file : bool
        The part is drawn or meshed by the user.
    seams_of_welds : bool
        Seams lie where the case puts its welds: the part has none of its own, and the order of
        welding is that of the [[weld]] sections.
    elastic : bool
        The elastic model is of use: it knows shrinkage by peak temperature, not what holds what.
    one_piece : bool
        Beads lie on one piece: nothing is joined, and nothing tacked.
    heated_through : bool
        The part is so compact that a bead heats the whole of it, as a bar; thin walls are not.
    leans_in_clamp : bool
        A lean given before welding turns the part as a whole in its clamp, not one of its pieces.
    torch_step : float
        Longest step while an arc burns, over that of a bead on a bar: the face of a fillet is wide
        for its leg.
    """

    label: str
    part_section: type[Section]
    words: Callable[[Part], str]
    faces: Callable[[Part], Sequence[str]]
    place: Callable[[Part, str], np.ndarray]
    seam_lines: Callable[[Part], Mapping[str, SeamLine]]
    blocks: Callable[[Any, Grade], Blocks] | None = None
    mesh_of_file: Callable[[Any, Grade], tuple[Any, Mapping[str, float]]] | None = None
    hold_section: type[Section] = JointHoldSection
    weld_section: type[Section] = JointWeldSection
    sections: tuple[str, ...] = SECTIONS
    clamped_faces: tuple[str, ...] = ()
    pointer: Mapping[str, str] = field(default_factory=dict)
    bow_places: tuple[str, str, str] = ("start end", "mid length", "free end")
    read_part: Callable[[Any], Part] = _section_itself
    hold_default: Mapping[str, str] | None = field(default_factory=lambda: {"kind": "ends"})
    hold: Callable[[Any, Part, list[Mistake]], tuple[Hold, tuple[Clamp, ...]]] | None = None
    lay_out: Callable[[Part, Hold, Welds, list[Mistake]], tuple[Part, Welds]] = _seams_stand
    gauge_kinds: tuple[str, ...] = GAUGE_KINDS
    gauge_places: Callable[[Part, str], Sequence[str]] | None = None
    gauge_faults: Callable[[Part, Gauge], Sequence[Fault]] = _no_gauge_faults
    check: Callable[[Part], Sequence[Fault]] = _no_faults
    resolve: Callable[[Part, Path], Part] = _as_it_is
    default_tacks: Callable[[Part], Sequence[Tack]] = _no_tacks
    gap_places: Callable[[Part], Mapping[str, tuple[Any, Any]]] = _no_gaps
    fused: Callable[[Part, str, np.ndarray], np.ndarray] | None = None
    free_height: Callable[[Any, np.ndarray], tuple[int, np.ndarray]] | None = None
    weld_record: Callable[[Part, Weld], Mapping[str, Any]] = _no_record
    spare_beads: Callable[[Any, str], list[tuple[Any, str, str]]] | None = None
    with_beads: Callable[[Part, Sequence[Any]], Part] | None = None
    needs_file: bool = False
    seams_of_welds: bool = False
    elastic: bool = True
    one_piece: bool = False
    heated_through: bool = False
    leans_in_clamp: bool = False
    torch_step: float = 1.4

    def __post_init__(self) -> None:
        """Nobody is offered a preset for a part that has no free piece to tilt."""
        if self.free_height is None:
            kept = tuple(name for name in self.sections if name != "preset")
            object.__setattr__(self, "sections", kept)

    def mesh(self, case: Any, grade: Grade) -> tuple[Any, Mapping[str, float]]:
        """Mesh of a case's part with named regions, and the volumes these should have.

        Parameters
        ----------
        case : weldsim.case.load.Case
            With its part, tacks and hold.
        grade : Grade
            How fine.

        Returns
        -------
        mesh : skfem.Mesh
            With subdomains and boundaries. [m]
        volumes : mapping of str to float
            By formula. [m3]

        Raises
        ------
        MeshError
            If the part cannot be meshed.
        CaseError
            If it would take too many cells.
        """
        if self.mesh_of_file is not None:
            return self.mesh_of_file(case, grade)
        if self.blocks is None:
            raise TypeError(f"{self.label}: a kind has either blocks or mesh_of_file")
        model = self.blocks(case, grade)
        if model.cell_count > MOST_CELLS:
            raise too_many_cells(case, grade, model.cell_count)
        return mesh_blocks(model), model.volumes

    def clamped(
        self, section: Any, part: Part, mistakes: list[Mistake]
    ) -> tuple[Hold, tuple[Clamp, ...]]:
        """Hold of a part and the clamps that go with it.

        Parameters
        ----------
        section : Section
            [clamping], by `hold_section`.
        part : record of the kind
            What is held.
        mistakes : list of Mistake
            Added to.

        Returns
        -------
        hold : Hold
            As the case states it.
        clamps : tuple of Clamp
            Those of the hold.
        """
        if self.hold is not None:
            return self.hold(section, part, mistakes)
        conductance = section.conductance or 0.0
        hold = Hold(section.kind, 0.0, conductance, "never")
        if section.kind != "ends":
            return hold, ()
        if not self.clamped_faces:
            text = f'a {part.kind} has no ends to clamp, allowed: "free"'
            mistakes.append(Mistake("clamping", "", "kind", section.kind, text))
        off = read_rule(clamp_rule, section.release, "clamping", "", "release", mistakes)
        return hold, tuple(
            Clamp(face, (face,), conductance=conductance, off=off) for face in self.clamped_faces
        )

    def places_for(self, part: Part, gauge: str) -> tuple[str, ...]:
        """Names of places where a gauge may sit.

        Parameters
        ----------
        part : record of the kind
            What is measured.
        gauge : str
            Kind of the gauge.

        Returns
        -------
        tuple of str
            Names that `place` knows.
        """
        names = self.faces(part) if self.gauge_places is None else self.gauge_places(part, gauge)
        return tuple(names)

    def has_place(self, part: Part, name: str) -> bool:
        """Whether a name is that of a place.

        Parameters
        ----------
        part : record of the kind
            Whose places.
        name : str
            Such as a clamp's face.

        Returns
        -------
        bool
            True where `place` knows it.
        """
        try:
            self.place(part, name)
        except CaseError:
            return False
        return True
