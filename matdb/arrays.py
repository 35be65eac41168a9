"""Arrays by what they hold, for signatures."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Whole = NDArray[np.int64]
Places = NDArray[np.intp]
Flags = NDArray[np.bool_]
