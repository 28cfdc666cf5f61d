"""How a file or a seam of a user's own part is refused."""

from __future__ import annotations

from weldsim.errors import CaseError


class NotAllowed(CaseError):
    """What is wrong with the file or the seams of a user's own part.

    Parameters
    ----------
    key : str
        Key of ``[part]`` that is to blame.
    sentence : str
        What is wrong, and what would be allowed.
    """

    def __init__(self, key: str, sentence: str) -> None:
        super().__init__(f"[part] {key}: {sentence}")
        self.key, self.sentence = key, sentence
