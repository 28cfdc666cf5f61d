"""What weldsim refuses: one tree, so that a caller can tell a refusal from a bug.

The command line turns these into their message and exit code 2; anything else keeps its traceback.
"""


class WeldsimError(Exception):
    """Root of everything raised for a user's input or refused by the physics."""


class CaseError(WeldsimError):
    """A case file asks for something that is not allowed; one line for each mistake.

    Parameters
    ----------
    message : str
        What is said.
    mistakes : iterable, optional
        `weldsim.schema.mistakes.Mistake` records, where they are known.
    """

    def __init__(self, message: str, mistakes=()):
        super().__init__(message)
        self.mistakes = tuple(mistakes)


class MaterialError(WeldsimError):
    """A material file is wrong, or a property was asked for outside its range."""


class MeshError(WeldsimError):
    """The part cannot be meshed, or the mesh is not what the formula says."""


class ConvergenceError(WeldsimError):
    """A solver found no answer; the message holds step, time and residual history."""


class BalanceError(WeldsimError):
    """Heat in is not heat stored plus heat lost."""


class StoreError(WeldsimError):
    """A run folder cannot be written, read or resumed."""


class SetupError(WeldsimError):
    """Something on this machine is missing; the message says how to get it."""


class MeasurementError(WeldsimError):
    """A measured curve cannot be read or used; one line for each mistake."""
