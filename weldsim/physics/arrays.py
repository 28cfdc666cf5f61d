"""Types of arrays in signatures; their shapes stand in the docstrings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.integer]
Flags = NDArray[np.bool_]
