"""The arrays that loops go through."""

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.float64]
Ints: TypeAlias = npt.NDArray[np.int64]
Outcomes: TypeAlias = npt.NDArray[np.int8]
Codes: TypeAlias = npt.NDArray[np.uint16]
Marks: TypeAlias = npt.NDArray[np.uint8]  # 1 where something holds: flags as compiled loops take them
