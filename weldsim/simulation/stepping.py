"""How a run goes through time: length of its steps, how often equilibrium, how closely."""

from __future__ import annotations

from dataclasses import dataclass

from weldsim.geometry.grades import Grade
from weldsim.physics.heat_conduction import TOLERANCE as HEAT_TOLERANCE

LONGEST_REST = 120.0  # s


@dataclass(frozen=True)
class Stepping:
    """Steps of a run.

    Attributes
    ----------
    torch_step : float
        Longest travel of an arc in one step, in bead widths.
    heat_substeps : int
        Heat steps in one step.
    rest_growth : float
        Length of a step of a pause as a share of the time since the arc stopped.
    tolerance : float
        Residual force over the size of the cell forces that counts as equilibrium.
    heat_tolerance : float
        Residual power over the power stored, supplied and lost in a step.
    longest_rest, longest_last_rest : float
        Of a step of a pause between welds, and after the last one. [s]
    rest_steps_per_equilibrium : int
        In a pause the heat goes on for so many steps before equilibrium is found. While an arc
        burns, before a clamp moves and at the end of the case every step has its own.
    """

    torch_step: float
    heat_substeps: int
    rest_growth: float
    tolerance: float
    heat_tolerance: float = HEAT_TOLERANCE
    longest_rest: float = LONGEST_REST
    longest_last_rest: float = LONGEST_REST
    rest_steps_per_equilibrium: int = 1

    @classmethod
    def of(cls, grade: Grade) -> Stepping:
        """Steps of a run at a grade.

        Parameters
        ----------
        grade : Grade
            How fine.

        Returns
        -------
        Stepping
            With equilibrium in every step.
        """
        return cls(grade.torch_step, grade.heat_substeps, grade.rest_growth, grade.balance)
