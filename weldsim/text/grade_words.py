"""What a grade is good for, in one line."""

from __future__ import annotations

from weldsim.geometry.grades import GRADE_USE


def grade_words(grade: str) -> str:
    """A grade with what it is good for, for the middle of a sentence.

    Parameters
    ----------
    grade : str
        One of `weldsim.geometry.grades.GRADE_USE`; another stands alone.

    Returns
    -------
    str
        Such as "grade coarse (good for ranking of sequences)".
    """
    use = GRADE_USE.get(grade)
    return f"grade {grade} (good for {use})" if use else f"grade {grade}"


def grade_line(*grades: str) -> str:
    """One line for the grades that something was run at.

    Parameters
    ----------
    *grades : str
        In order; one that stands twice is said once.

    Returns
    -------
    str
        Such as "Run at grade coarse (good for ranking of sequences)."
    """
    return f"Run at {', then '.join(map(grade_words, dict.fromkeys(grades)))}."
