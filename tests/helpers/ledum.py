"""The demonstration of entries, cut down: few bodies, angles, dates and clock angles, a short search, few samples."""

from pathlib import Path

from swarm.study.schema import read_study
from tests.helpers.places import ROOT

LEDUM = (ROOT / "runs" / "ledum" / "study.toml").read_text(encoding="utf-8")
QUICK = """
[optimize]
islands = 2
population = 16
epochs = 2
generations_per_epoch = 5
polish_steps = 1
constraint_costs = false
levels = 5
"""
FEW_SAMPLES = """
[refine]
linear_samples = 500
full_samples = 50
recontact_samples = 3
impact_samples = 1
impact_years = 2.0
earth_years = 2.0
"""


def changed(text: str, **changes: str) -> str:
    """The text of a study with other values of keys, wherever they stand."""
    for key, value in changes.items():
        lines = [line for line in text.splitlines() if line.split("=")[0].strip() == key]
        assert lines, key
        for line in lines:
            text = text.replace(line, f"{key} = {value}")
    return text


def small(**changes: str) -> str:
    """Entries of two angles and two arrivals, and one height of passes."""
    text = changed(
        LEDUM, bodies="2000", angles_deg="[12, 30]", altitudes_km="[400]", release_days_before="[12, 9]",
        arrival_offsets_min="[-60, -30]", clock_step_deg="90",
    )  # fmt: skip
    without = text.split("[optimize]")[0] if "[optimize]" in text else text
    return changed(without, **changes) + QUICK + FEW_SAMPLES


def written_study(folder: Path, text: str):
    file = folder / "study.toml"
    file.write_text(text, encoding="utf-8")
    return read_study(file)
