"""Which keys a section of a case file has; parts, holds and welds differ by joint kind."""

from __future__ import annotations

from weldsim.joints.registry import joint_kind
from weldsim.schema import sections as schema
from weldsim.schema.quantities import Section

SECTIONS: dict[str, type[Section]] = {
    "surroundings": schema.SurroundingsSection, "gauge": schema.GaugeSection,
    "solve": schema.SolveSection, "arc": schema.ArcSection, "schedule": schema.ScheduleSection,
    "tack": schema.TackSection, "clamp": schema.ClampSection, "preset": schema.PresetSection,
    "plan": schema.PlanSection, "metal": schema.MetalSection, "shop": schema.ShopSection,
    "fit": schema.FitSection,
}  # fmt: skip


def section_model(section: str, kind: str = "bar") -> type[Section]:
    """Model of a section in a case about a joint kind.

    Parameters
    ----------
    section : str
        One of `weldsim.schema.sections.NAMES`.
    kind : str
        One of `weldsim.joints.registry.KINDS`.

    Returns
    -------
    type of Section
        Its fields are the keys, by their alias where they have one.
    """
    joint = joint_kind(kind)
    own: dict[str, type[Section]] = {
        "part": joint.part_section,
        "clamping": joint.hold_section,
        "weld": joint.weld_section,
    }
    return own[section] if section in own else SECTIONS[section]
