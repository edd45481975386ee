"""Arrays by what they hold, as signatures name them; shapes stand in the docstrings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]
Pixels = NDArray[np.uint8]
