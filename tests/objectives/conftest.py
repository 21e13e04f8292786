"""The small cases and the plain evaluators are shared with the tests of the search."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "optimize"))
sys.path.insert(0, str(Path(__file__).parent))
