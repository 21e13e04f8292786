"""Where the tree's files are that tests read."""

from pathlib import Path

ROOT = Path(__file__).parents[2]
TESTS = ROOT / "tests"
AUTHORITIES = TESTS / "authorities"
NOTEBOOKS = ROOT / "notebooks"
SMALL = NOTEBOOKS / "small.toml"
FIREWEED = ROOT / "runs" / "fireweed" / "study.toml"
REFERENCE = ROOT / "runs" / "reference" / "study.toml"
