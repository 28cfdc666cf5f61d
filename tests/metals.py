"""A metal whose properties do not change with temperature, for checks against closed forms."""

from dataclasses import replace

from weldsim.materials.material import Material, load_material


def constant_metal(density=7850.0, conductivity=50.0, specific_heat=500.0, youngs_modulus=210e9,
                   yield_stress=300e6, **scalars) -> Material:  # fmt: skip
    """Carbon steel with constant curves and without latent heat; other scalars as stated."""
    steel = replace(
        load_material("carbon-steel"),
        density=density,
        latent_heat=0.0,
        melt_conductivity_factor=1.0,
        **scalars,
    )
    return steel.with_curves(
        conductivity=conductivity, specific_heat=specific_heat, youngs_modulus=youngs_modulus,
        yield_stress=yield_stress, hardening_modulus=0.0,
    )  # fmt: skip
