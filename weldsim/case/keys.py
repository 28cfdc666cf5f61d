"""Which keys a section of a case file has; parts, holds and welds differ by joint kind."""

from __future__ import annotations

from weldsim.joints.bar_sections import BarSection, BeadSection, ViseSection
from weldsim.joints.registry import joint_module
from weldsim.schema import sections as schema

SECTIONS = {
    "part": BarSection, "hold": ViseSection, "weld": BeadSection,
    "surroundings": schema.SurroundingsSection, "gauge": schema.GaugeSection,
    "solve": schema.SolveSection, "arc": schema.ArcSection, "schedule": schema.ScheduleSection,
    "tack": schema.TackSection, "clamp": schema.ClampSection, "preset": schema.PresetSection,
    "plan": schema.PlanSection,
}  # fmt: skip
OF_JOINTS = {"hold": schema.JointHoldSection, "weld": schema.JointWeldSection}


def section_model(section: str, kind: str = "bar") -> type[schema.Section]:
    """Model of a section; parts, holds and welds are written differently for a joint kind."""
    if kind == "bar":
        return SECTIONS[section]
    if section == "part" and kind != "joint":
        return joint_module(kind).Part
    return OF_JOINTS.get(section, SECTIONS[section])


def check_section(section: str, values, where: str, mistakes: list, kind: str = "bar"):
    """Read a section of a kind; see `weldsim.schema.sections.check_section`."""
    return schema.check_section(section, section_model(section, kind), values, where, mistakes)
