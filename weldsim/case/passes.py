"""How a pass is divided: stretches of a seam in the order and direction they are welded."""

from __future__ import annotations


def pieces(
    begin: float, finish: float, direction: int, pattern: str, segment: float | None
) -> list[tuple[float, float, int]]:
    """Stretches of a pass.

    Parameters
    ----------
    begin, finish : float
        Along the seam's natural direction. [m]
    direction : {1, -1}
        Direction in which the pass as a whole proceeds.
    pattern : {'continuous', 'backstep', 'skip', 'middle out'}
    segment : float or None
        Wanted length of a stretch; all become equally long. [m]

    Returns
    -------
    list of (begin, finish, direction)
        In order of welding. [m, m, 1 or -1]

    Notes
    -----
    Backstep: the pass proceeds one way, each stretch is welded the other way. Skip: every second
    stretch first. Middle out: from the middle to both ends in turn, each stretch outward.
    """
    if pattern == "continuous" or segment is None:
        return [(begin, finish, direction)]
    count = max(1, round((finish - begin) / segment))
    step = (finish - begin) / count
    whole = [(begin + i * step, begin + (i + 1) * step) for i in range(count)]
    onward = whole if direction > 0 else whole[::-1]
    if pattern == "backstep":
        return [(a, b, -direction) for a, b in onward]
    if pattern == "skip":
        return [(a, b, direction) for a, b in onward[0::2] + onward[1::2]]
    if pattern == "middle out":
        middle = (begin + finish) / 2
        far = sorted(whole, key=lambda p: (round(abs((p[0] + p[1]) / 2 - middle), 9),
                                           -direction * (p[0] + p[1])))  # fmt: skip
        return [(a, b, direction if a + b == 2 * middle else (1 if (a + b) / 2 > middle else -1))
                for a, b in far]  # fmt: skip
    raise ValueError(f"pattern {pattern} is unknown")
