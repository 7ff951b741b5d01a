"""Arrays of numbers as every floor writes them: what a signature says of an array beside its shape and unit."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Truths = NDArray[np.bool_]
