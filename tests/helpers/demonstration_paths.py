"""What the paths of demonstrations that pass a moon share: flown in the field, kept as a message beside the study."""

from __future__ import annotations

import numpy as np

from swarm.reach.approach.field import move_to
from tests.helpers.mothership_files import Block, oem_text


def flown_about(start, met_s, epochs, field):
    """States (n, 6) about the planet at epochs, of a path given at one of its own, (6,)."""
    states = np.empty((len(epochs), 6))
    for k, t in enumerate(epochs):
        y = start.copy()
        assert move_to(y, met_s, t, field) == 0
        states[k] = y
    return states


def write_oem(file, name, number, path):
    """Write the message of a mothership that does not exist."""
    epochs, states = path
    text = oem_text([Block(epochs, states, {"OBJECT_NAME": name, "OBJECT_ID": number})])
    file.parent.mkdir(exist_ok=True)
    text = text.replace("FIREWEED", name).replace("written for a test", "an invented mothership")
    file.write_text(text, encoding="ascii")
