"""The files of `runs/motherships`: one path as a message and as a SPICE kernel, made here and kept beside the studies.

`python -m tests.helpers.motherships` writes them anew, from the elements of `elements.toml`.
"""

from __future__ import annotations

import numpy as np

from swarm.reach.mothership.sources import mothership_of
from swarm.study.study_file import read_study
from targets.base.constants import DAY_S
from targets.base.timescale import tdb_s_from_jd
from targets.ephemeris.planets import sample_planets
from tests.helpers.demonstration_paths import write_oem
from tests.helpers.mothership_files import Block, write_spk
from tests.helpers.places import ROOT

FOLDER = ROOT / "runs" / "motherships"
STEP_DAYS = 8.0


def path():
    """Epochs and heliocentric states of the mothership of `elements.toml`, from its first day to its last."""
    study = read_study(FOLDER / "elements.toml")
    first, last = tdb_s_from_jd(np.array([study.study.start, study.study.end]))
    (leg,) = mothership_of(study, sample_planets(first - DAY_S, last + DAY_S)).legs
    epochs = np.append(np.arange(first, last, STEP_DAYS * DAY_S), last)
    return epochs, leg.at(epochs)


if __name__ == "__main__":
    epochs, states = path()
    write_oem(FOLDER / "fireweed.oem", "FIREWEED", "2031-001A", (epochs, states))
    write_spk(FOLDER, [Block(epochs, states)]).rename(FOLDER / "fireweed.bsp")
