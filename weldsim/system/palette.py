"""The colours of weldsim: the one place where they are defined.

Pictures and prints import them; pages and reports take them as variables of CSS from `css`, and
their scripts read those. A colour never says alone what it means: a word, a number or a place on
the part stands beside it. `WELDS` and `LINES` are told apart by people with any colour vision and
carry white letters at 4.5 to 1 (`tests/system/test_palette.py`); the lightness of a scale goes one
way, so that it reads in grey as well.
"""

from __future__ import annotations

# letters, lines and grounds
INK = "#1d2b2e"  # letters
EDGE = "#42545a"  # outlines, quiet letters on white
QUIET = "#57676b"  # small print
BORDER = "#66767b"  # of a field or a button
FAINT = "#7c8b8f"  # axes, the part before welding
OUTLINE = "#95a2a3"
LINE = "#cbd3d2"
GRID = "#e2e7e5"
GROUND = "#eef1ef"  # behind panels
PAPER = "#fbfaf7"  # behind pictures and reports
WHITE = "#ffffff"

# what can be pressed; the weld; verdicts and warnings
PRESS, PRESS_DARK, PRESS_SOFT, PRESS_PALE = "#14606e", "#0d4853", "#d3e7e8", "#e6f1f1"
IDLE = "#5d7a82"  # a main button that waits
WELD, WELD_BRIGHT, WELD_SOFT = "#a5471c", "#ea9a5c", "#f8d9c8"
GOOD, GOOD_PALE = "#19664a", "#e0f0e8"
BAD, BAD_SOFT, BAD_PALE = "#98203a", "#f5dde1", "#fbeff1"
ARC = "#f7e3c3"  # while an arc burns; warnings
CARE_INK, CARE_LINE, CARE_PALE = "#6b4a0c", "#d8b679", "#fdf6e8"
SPOT, GLARE = "#cf1f45", "#ffdc96"  # the light on the target; around the arc

# metal in drawings
STEEL, STEEL_SIDE, STEEL_DEEP = "#dfe5e4", "#d3dcdb", "#b9c6c7"
FILLER, CLAMPED, CLAMP_BAR = "#f0d8b4", "#a9d0d6", "#bccac9"
MESH = "#aab7b8"

# one of several
WELDS = (
    "#b65159", "#4f2a78", "#177c82", "#5d6613", "#6d1c2c", "#4a68bd", "#603c55", "#3030c8",
)  # fmt: skip
LINES = ("#146455", "#b06121", "#3a2f86", "#6c4911", "#9a4482", "#2b3a42")

# scales
GLOW = ("#2b3a40", "#5b4257", "#94404a", "#c9612f", "#e69a35", "#f4cd74", "#fbf3d6")  # heat
MOVED = ("#e8eeea", "#b3d3d2", "#74b0b5", "#37899a", "#14607a", "#0b3550")  # movement
STRESS = ("#f2eef2", "#dcc3d6", "#bd8fb4", "#95608f", "#663a66", "#341c3a")
AGAINST = ("#0b3550", "#37899a", "#b3d3d2", "#eeeeea", "#ecc4a2", "#c4662c", "#5f2a0d")  # - to +


def names() -> dict[str, str]:
    """Every single colour under the name that CSS uses: `PRESS_DARK` is `press-dark`.

    Returns
    -------
    dict
        Name to colour.
    """
    return {
        name.lower().replace("_", "-"): value
        for name, value in globals().items()
        if name.isupper() and isinstance(value, str)
    }


def css() -> str:
    """The single colours as variables of CSS, for the head of a page or a report.

    Returns
    -------
    str
        One rule for the root.
    """
    return ":root { " + " ".join(f"--{name}: {value};" for name, value in names().items()) + " }\n"
