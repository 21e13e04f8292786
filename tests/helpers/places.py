"""Where things stand in the repository: found from here, so that a test may move."""

from pathlib import Path

ROOT = Path(__file__).parents[2]
AUTHORITIES = ROOT / "tests" / "authorities"
FIREWEED = ROOT / "runs" / "fireweed" / "study.toml"
REFERENCE = ROOT / "runs" / "reference" / "study.toml"
SMALL = ROOT / "notebooks" / "small.toml"
