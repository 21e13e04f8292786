"""The demonstration Yarrow, cut down, and run."""

from pathlib import Path

from swarm.app.pipeline import Options, run_all
from tests.helpers.ledum import FEW_SAMPLES
from tests.helpers.places import ROOT

TEXT = (ROOT / "runs" / "yarrow" / "study.toml").read_text(encoding="utf-8")
# Small enough for every day: one date of release, few planes and clock angles, short lives, a short search.
SMALL = (
    ("release_days_before = [20, 10]", "release_days_before = [20]"),
    ("clock_step_deg      = 30", "clock_step_deg      = 90"),
    ("inclination_deg     = [76, 90]", "inclination_deg     = [90]"),
    ("science_days        = 60.0", "science_days        = 20.0"),
    ("counts = [1, 3, 7]", "counts = [1, 3]"),
    ("islands               = 4", "islands               = 2"),
    ("population            = 48", "population            = 16"),
    ("epochs                = 6", "epochs                = 2"),
    ("generations_per_epoch = 20", "generations_per_epoch = 5\nconstraint_costs = false\nlevels = 5"),
)


def run(folder: Path, *changes: tuple[str, str], until: str | None = None):
    """Run it in a new folder, with further texts replaced."""
    text = TEXT
    for old, new in (*changes, *SMALL):  # a change names the text as the file has it
        assert old in text, old
        text = text.replace(old, new)
    folder.mkdir()
    (folder / "study.toml").write_text(text + FEW_SAMPLES, encoding="utf-8")
    (folder / "yarrow.oem").write_bytes((ROOT / "runs" / "yarrow" / "yarrow.oem").read_bytes())
    return run_all(folder / "study.toml", folder / "out", Options(workers=1), until=until)
