"""The filter on a GPU drops nobody whom the processor's own look would keep, and so no table changes."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys

import numpy as np
import pytest

from swarm.reach import opportunities as screening
from swarm.reach.screen import on_device
from swarm.reach.screen.approaches import find_approaches
from swarm.run.workers import Pool
from targets.base.errors import InputError
from targets.catalogue.invented import invented_belt
from targets.motion.perturbed import drift_amplification, drift_growth, move_to_epoch, prepare
from tests.helpers.command_line import TINY, call
from tests.helpers.places import ROOT
from tests.helpers.pulled_study import ELEMENTS, START_JD, a_study


def has_device() -> bool:
    try:
        on_device.require_device()
    except InputError:
        return False
    return True


@pytest.fixture(scope="module")
def population():
    """A belt, the legs of a mothership in it, and whom the processor's look keeps."""
    study = a_study({"kind": "elements", "epoch": START_JD, "motion": "perturbed"} | ELEMENTS)
    catalogue = invented_belt(20_000, 8)
    epochs, r_km, v_km_s = catalogue.states()
    states, span = np.hstack([r_km, v_km_s]), screening._span(study)
    planets = screening._planets((study,), epochs)
    legs = screening._legs(0, study, screening.mothership_of(study, planets))
    asked = {"planets": planets, "step_s": study.search.step_days * 86_400.0}
    start = move_to_epoch(epochs, states, span[0], **asked)
    prepared = prepare(start, start_tdb_s=span[0], end_tdb_s=span[1], **asked)
    near = np.zeros(len(states), dtype=bool)
    for found in find_approaches(prepared, legs):
        near[found.body] = True
    assert 10 < near.sum() < 2_000
    question = (epochs, states, legs, planets), {"span_tdb_s": span, "step_s": asked["step_s"]}
    return study, catalogue, question, near


_SIMULATED = """
import pickle, sys
from swarm.reach.screen.on_device import worth_a_look
plain, named = pickle.load(open(sys.argv[1], "rb"))
pickle.dump(worth_a_look(*plain, **named), open(sys.argv[2], "wb"))
"""


def test_nobody_is_dropped_whom_the_processor_keeps(population, tmp_path):
    """On numba's own simulator of a device: the same kernels, run as Python. Some twenty bodies, it is slow."""
    _, _, ((epochs, states, legs, planets), named), near = population
    chosen = np.sort(np.concatenate([np.flatnonzero(near)[:6], np.flatnonzero(~near)[:14]]))
    # one cannot be moved: it is kept, and the processor says so
    some = states[chosen].copy()
    some[-1] = np.nan
    with open(tmp_path / "asked", "wb") as file:
        pickle.dump(((epochs[chosen], some, legs, planets), named), file)
    plain = {"NUMBA_ENABLE_CUDASIM": "1", "NUMBA_DISABLE_JIT": "1"}
    subprocess.run(
        [sys.executable, "-c", _SIMULATED, tmp_path / "asked", tmp_path / "kept"],
        check=True, cwd=ROOT, env=os.environ | plain, timeout=300,
    )  # fmt: skip
    with open(tmp_path / "kept", "rb") as file:
        kept = pickle.load(file)
    assert kept[near[chosen]].all()
    assert kept[-1]
    assert kept.sum() < len(kept)


@pytest.mark.skipif(not has_device(), reason="no GPU here")
def test_nobody_is_dropped_on_the_device_that_is_here(population):
    _, _, (plain, named), near = population
    kept = on_device.worth_a_look(*plain, **named)
    assert kept[near].all()
    assert kept.mean() < 0.5


def test_tables_keep_their_bytes_when_others_are_left_out(population, monkeypatch):
    """Whom the look would keep and every third of the rest: the same opportunities and the same counts."""
    study, catalogue, _, near = population
    whole = screening.screen(study, catalogue, pool=Pool())

    def kept(epochs, states, legs, planets, **named):
        assert len(states) == len(near)
        return near | (np.arange(len(near)) % 3 == 0)

    monkeypatch.setattr(screening, "worth_a_look", kept)
    filtered = screening.screen(study, catalogue, pool=Pool(), gpu=True)
    assert filtered.opportunities.equals(whole.opportunities)
    assert filtered.targets.to_table().equals(whole.targets.to_table())
    assert filtered.counts == whole.counts


def test_growth_of_one_state_is_that_of_many():
    _, r_km, v_km_s = invented_belt(500, 3).states()
    states = np.hstack([r_km, v_km_s])
    one_by_one = np.array([drift_growth(*state) for state in states])
    assert one_by_one == pytest.approx(drift_amplification(states), rel=1e-12)


@pytest.mark.skipif(has_device(), reason="there is a GPU here")
def test_without_a_device_it_is_said(tmp_path):
    (tmp_path / "study.toml").write_text(TINY, encoding="utf-8")
    result = call("screen", tmp_path / "study.toml", "--run", tmp_path / "out", "--gpu")
    assert result.exit_code == 2
    assert "no GPU" in result.stderr
    assert "swarm-flyby[gpu]" in result.stderr
