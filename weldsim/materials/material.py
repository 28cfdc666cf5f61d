"""What the metal is: property curves against temperature, each with its source and valid range.

Small-strain thermo-elastic-plastic data: k(T), c(T) with latent heat as enthalpy H(T), thermal
strain, E(T), initial yield and a linear hardening modulus. Left out: change of phase in the solid
(the same curve serves heating and cooling), creep, density against temperature (a fixed mesh
keeps its mass), permanent softening of heat-treated metal. The numbers live in files, see
`weldsim.materials.material_file`; curves that are a choice for welding say so there.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from weldsim.errors import MaterialError
from weldsim.materials.curves import Curve, CurveLike, curve_of, refined_table, without_straight
from weldsim.materials.material_file import read_material_file

REFERENCE_TEMPERATURE = 293.15  # enthalpy and thermal strain are zero here, 20 degC [K]
CURVES: tuple[str, ...] = (
    "conductivity", "specific_heat", "thermal_strain", "youngs_modulus", "yield_stress",
    "hardening_modulus",
)  # fmt: skip
TABLES = (*CURVES, "enthalpy")  # what `Material.table` knows
TABLE_RANGE = (173.15, 3273.15)  # tables of curves that hold their end values reach so far [K]


@dataclass(frozen=True, eq=False)
class Material:
    """A metal in SI units; every method takes temperatures [K] of any shape.

    Attributes
    ----------
    name, title : str
        What a case calls it, and what a person does.
    density : float
        Constant. [kg/m3]
    curves : mapping of name -> Curve
        The names in `CURVES`, as published (before floors, freezing and melt stirring).
    poisson_ratio, isotropic_share : float
        Share 1 hardens isotropically, 0 kinematically.
    solidus, liquidus, softening_temperature : float
        Above the last the metal is stress-free and its thermal strain stands still. [K]
    latent_heat : float
        Taken up evenly from solidus to liquidus. [J/kg]
    melt_conductivity_factor : float
        Conductivity above the liquidus over the curve's, for stirring; a ramp from the solidus.
    modulus_floor, yield_floor : float
        Lowest stiffness and yield stress in use. [Pa]
    hardening_strain : float or None
        If given, the curve "hardening_modulus" is not a modulus but the stress at this total
        strain, and the modulus is that of the straight line through it and first yield.
    straightening_limit : float or None
        Hottest that straightening by heat may make it, where the file states it. [K]
    notes : mapping of str -> str
        Sources of what is not a curve.
    not_modelled : tuple of str
    """

    name: str
    title: str
    density: float
    curves: Mapping[str, Curve]
    poisson_ratio: float
    isotropic_share: float = 1.0
    solidus: float = math.inf
    liquidus: float = math.inf
    latent_heat: float = 0.0
    softening_temperature: float = math.inf
    melt_conductivity_factor: float = 1.0
    modulus_floor: float = 0.0
    yield_floor: float = 0.0
    hardening_strain: float | None = None
    straightening_limit: float | None = None
    notes: Mapping[str, str] = field(default_factory=dict)
    not_modelled: tuple[str, ...] = ()
    _tables: dict[str, tuple[np.ndarray, np.ndarray]] = field(
        default_factory=dict, init=False, repr=False
    )

    def conductivity(self, temperature: ArrayLike) -> np.ndarray:
        """Heat conductivity, raised in the melt.

        Parameters
        ----------
        temperature : array_like
            Of any shape. [K]

        Returns
        -------
        ndarray
            [W/(m K)]
        """
        k: np.ndarray = self.curves["conductivity"](temperature)
        if self.melt_conductivity_factor != 1.0:
            k = k * (1.0 + (self.melt_conductivity_factor - 1.0) * self.melted(temperature))
        return k

    def specific_heat(self, temperature: ArrayLike) -> np.ndarray:
        """Specific heat without latent heat.

        Parameters
        ----------
        temperature : array_like
            Of any shape. [K]

        Returns
        -------
        ndarray
            [J/(kg K)]
        """
        return self.curves["specific_heat"](temperature)

    def enthalpy(self, temperature: ArrayLike) -> np.ndarray:
        """Heat to bring 1 kg from 20 degC to a temperature, melting included; exact.

        Parameters
        ----------
        temperature : array_like
            Of any shape. [K]

        Returns
        -------
        ndarray
            [J/kg]
        """
        c = self.curves["specific_heat"]
        heat: np.ndarray = c.integral(temperature) - c.integral(REFERENCE_TEMPERATURE)
        if self.latent_heat:
            heat = heat + self.latent_heat * self.melted(temperature)
        return heat

    def melted(self, temperature: ArrayLike) -> np.ndarray:
        """Share that is liquid: 0 to the solidus, 1 from the liquidus, linear between.

        Parameters
        ----------
        temperature : array_like
            Of any shape. [K]

        Returns
        -------
        ndarray
            Dimensionless.
        """
        t = np.asarray(temperature, dtype=float)
        if math.isinf(self.solidus):
            return np.zeros_like(t)
        value: np.ndarray = np.clip((t - self.solidus) / (self.liquidus - self.solidus), 0.0, 1.0)
        return value

    def thermal_strain(self, temperature: ArrayLike) -> np.ndarray:
        """Free elongation since 20 degC, standing still above the softening temperature.

        Parameters
        ----------
        temperature : array_like
            Of any shape. [K]

        Returns
        -------
        ndarray
            Dimensionless.
        """
        eps = self.curves["thermal_strain"]
        held = np.minimum(temperature, self.softening_temperature)
        value: np.ndarray = eps(held) - eps(REFERENCE_TEMPERATURE)
        return value

    def youngs_modulus(self, temperature: ArrayLike) -> np.ndarray:
        """Young's modulus, never below its floor.

        Parameters
        ----------
        temperature : array_like
            Of any shape. [K]

        Returns
        -------
        ndarray
            [Pa]
        """
        value: np.ndarray = np.maximum(
            self.curves["youngs_modulus"](temperature), self.modulus_floor
        )
        return value

    def yield_stress(self, temperature: ArrayLike) -> np.ndarray:
        """Stress at first yield, never below its floor.

        Parameters
        ----------
        temperature : array_like
            Of any shape. [K]

        Returns
        -------
        ndarray
            [Pa]
        """
        value: np.ndarray = np.maximum(self.curves["yield_stress"](temperature), self.yield_floor)
        return value

    def hardening_modulus(self, temperature: ArrayLike) -> np.ndarray:
        """Rise of yield stress with plastic strain, d sigma / d eps_p.

        Parameters
        ----------
        temperature : array_like
            Of any shape. [K]

        Returns
        -------
        ndarray
            [Pa]
        """
        curve = self.curves["hardening_modulus"](temperature)
        if self.hardening_strain is None:
            return curve
        first = self.yield_stress(temperature)
        later = np.maximum(curve, first)  # zero hardening where the floor is the stronger
        plastic = self.hardening_strain - later / self.youngs_modulus(temperature)
        modulus: np.ndarray = (later - first) / plastic
        return modulus

    @property
    def carries_below(self) -> float:
        """Temperature above which it carries next to nothing: it softens, or begins to melt. [K]"""
        return min(self.softening_temperature, self.solidus)

    @property
    def sources(self) -> dict[str, str]:
        """Where every curve and constant comes from, with what was added to it."""
        said = {k: (c.source, c.extension) for k, c in self.curves.items()}
        return {k: " ".join(filter(None, texts)) for k, texts in said.items()} | dict(self.notes)

    def check_range(self, lowest: float, highest: float) -> None:
        """Refuse temperatures the curves do not cover.

        Parameters
        ----------
        lowest, highest : float
            Ends of the range. [K]

        Raises
        ------
        MaterialError
            If a curve that does not hold its end values is asked beyond them.
        """
        top = min(highest, self.softening_temperature)
        for name, curve in self.curves.items():
            curve.check_range(lowest, top if name == "thermal_strain" else highest)

    def table(self, name: str) -> tuple[np.ndarray, np.ndarray]:
        """Piecewise-linear copy of a property for compiled code, made once and read-only.

        Parameters
        ----------
        name : str
            One of `TABLES`.

        Returns
        -------
        temperatures, values : ndarray, shape (n,)
            Kinks of the curves are nodes. Between nodes the error is below 0.1 % of the value
            (where a value falls to nothing: of a thousandth of its largest), but for 1 mK at the
            steps between a standard's formulas. Enthalpy is exact at its nodes, at most 1 K apart
            where it is not straight. Curves that hold end values reach from -100 to 3000 degC,
            others only as far as they go: see `check_range`.
        """
        if name not in self._tables:
            if name not in TABLES:
                raise ValueError(f"no property {name!r}; there are {', '.join(TABLES)}")
            nodes = self._nodes(name)
            if name == "enthalpy":
                made = without_straight(nodes, self.enthalpy(nodes))
            else:
                made = refined_table(getattr(self, name), nodes)
            for array in made:
                array.setflags(write=False)
            self._tables[name] = made
        return self._tables[name]

    def _nodes(self, name: str) -> np.ndarray:
        """Range and kinks of a property; for enthalpy every kelvin between them. [K]"""
        curve = self.curves["specific_heat" if name == "enthalpy" else name]
        low, high = TABLE_RANGE if curve.hold else (curve.edges[0], curve.edges[-1])
        kinks: list[ArrayLike] = [curve.edges]
        if name in ("enthalpy", "conductivity"):
            kinks.append([self.solidus, self.liquidus])
        if name == "thermal_strain":
            kinks.append([self.softening_temperature])
        if name == "hardening_modulus":
            kinks += [self.curves["yield_stress"].edges, self.curves["youngs_modulus"].edges]
        inner = np.concatenate([np.asarray(k, float) for k in kinks])
        inner = inner[(inner > low) & (inner < high)]
        if name == "enthalpy":
            last = max([*inner, low])
            inner = np.concatenate([inner, np.arange(low, min(last + 1.0, high))])
        return np.unique(np.round(np.concatenate([[low, high], inner]), 9))

    def with_curves(self, source: str = "set by the caller", **curves: CurveLike) -> Material:
        """Another material with some curves replaced; scalars go through `dataclasses.replace`.

        Parameters
        ----------
        source : str
            Where the numbers come from.
        **curves : Curve, float, or (temperatures, values)
            Names in `CURVES`; tables [K, SI] hold their end values. A new `hardening_modulus` is
            taken as a modulus. Floors, softening and melting stay as they are.

        Returns
        -------
        Material
            This one stays as it is.

        Raises
        ------
        ValueError
            If a name is none of `CURVES`.
        """
        unknown = set(curves) - set(CURVES)
        if unknown:
            raise ValueError(f"no curve {sorted(unknown)}; there are {', '.join(CURVES)}")
        made = {name: curve_of(value, source, name) for name, value in curves.items()}
        strain = None if "hardening_modulus" in curves else self.hardening_strain
        return replace(self, curves={**self.curves, **made}, hardening_strain=strain)


def load_material(
    name_or_path: str | os.PathLike[str], folder: str | os.PathLike[str] | None = None
) -> Material:
    """A material that comes with weldsim, by name, or a user's own file.

    Parameters
    ----------
    name_or_path : str or Path
        A name from `list_materials`, or the path of a `.toml` file (layout: `material_file`).
    folder : str or Path, optional
        Where a relative path starts; the current folder by default.

    Returns
    -------
    Material
        Its numbers checked over the whole range of its tables.

    Raises
    ------
    MaterialError
        One line with file, key, value and what is allowed.
    """
    material = Material(**read_material_file(name_or_path, folder))
    _check_physics(material, str(name_or_path))
    return material


def _check_physics(material: Material, label: str) -> None:
    """Refuse numbers no metal has, over the whole tabulated range."""
    for name in ("conductivity", "specific_heat", "youngs_modulus", "yield_stress"):
        floored = name in ("youngs_modulus", "yield_stress")
        property_ = getattr(material, name) if floored else material.curves[name]
        temperatures = material.table(name)[0]
        values = property_(temperatures)
        if not np.all(values > 0):
            worst = temperatures[np.argmin(values)] - 273.15
            hint = " (a floor can see to that: floor = 0.05)" if floored else ""
            raise MaterialError(
                f"{label} [{name}]: {values.min():.6g} at {worst:.6g} °C, must be above 0{hint}"
            )
    if material.hardening_strain is None:
        lowest = material.table("hardening_modulus")[1].min()
        if lowest < 0:
            raise MaterialError(f"{label} [hardening_modulus]: {lowest:.6g} Pa, must be 0 or more")
        return
    t = material.table("youngs_modulus")[0]
    first = np.maximum(material.curves["hardening_modulus"](t), material.yield_stress(t))
    if np.any(first / material.youngs_modulus(t) >= material.hardening_strain):
        raise MaterialError(
            f"{label} [hardening_modulus] at_total_strain: {material.hardening_strain:g}, must be "
            "more than the elastic strain at that stress"
        )
