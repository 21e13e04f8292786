"""Cautions of entries stand where they apply, and only there."""

from types import SimpleNamespace

import numpy as np
import pytest

from swarm.encounter.entry.entry_cautions import cautions_of_entries
from targets.atmospheres.shipped import atmosphere_named, shipped_for
from targets.masses.massive import mass_named

ABLATION, RADIATION, GROUND, LIFE, MADE = (
    "loses much of its mass", "radiation is not in this number", "who is under it", "may harbour life", "not measured",
)  # fmt: skip


@pytest.mark.parametrize(
    ("name", "speed", "known", "said"),
    [
        ("Venus", 12.0, False, {RADIATION}),
        ("Earth", 12.0, True, {GROUND}),
        ("Earth", 21.0, False, {GROUND, RADIATION, ABLATION}),
        ("Mars", 7.0, True, {MADE}),
        ("Titan", 6.0, True, {LIFE}),
        ("Jupiter", 47.0, False, {RADIATION, ABLATION, MADE}),
    ],
)
def test_cautions_are_of_the_body_and_the_speed(name, speed, known, said):
    setting = SimpleNamespace(
        passage=SimpleNamespace(body=mass_named(name)), atmosphere=atmosphere_named(shipped_for(name))
    )
    flown = SimpleNamespace(heating_known=np.array([known]), v_entry_relative_km_s=np.array([speed]))
    told = " ".join(cautions_of_entries(setting, SimpleNamespace(flown=flown)))
    assert {each for each in (ABLATION, RADIATION, GROUND, LIFE, MADE) if each in told} == said
    assert "planetary protection asks for its own review" in told
