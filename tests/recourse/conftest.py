"""The helper modules of the optimiser's tests serve here too, beside those of this folder."""

import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1] / "optimize")]
