"""Where a welded part will move, computed before the arc is struck."""

__version__ = "0.1.0"
