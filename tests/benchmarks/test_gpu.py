"""The filter on a GPU beside the processor's own look, both over 1.4 million bodies and ten years."""

from __future__ import annotations

import os
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pytest

from swarm.reach import opportunities as screening
from swarm.reach.screen import on_device
from swarm.reach.screen.approaches import find_approaches
from targets.base.constants import DAY_S
from targets.base.errors import InputError
from targets.catalogue.invented import invented_belt
from targets.motion.perturbed import move_to_epoch, prepare
from tests.benchmarks.report import print_table
from tests.helpers.pulled_study import ELEMENTS, START_JD, a_study

BODIES, TASK, YEARS = 1_400_000, 12_500, 10.0
_HERE: dict = {}


def _near(first: int) -> np.ndarray:
    """Bodies of one task that the processor's look keeps."""
    states, epochs, legs, asked, span = (
        _HERE[name] for name in ("states", "epochs", "legs", "asked", "span")
    )
    some = slice(first, first + TASK)
    start = move_to_epoch(epochs[some], states[some], span[0], **asked)
    prepared = prepare(start, start_tdb_s=span[0], end_tdb_s=span[1], **asked)
    return first + np.unique(np.concatenate([found.body for found in find_approaches(prepared, legs)]))


@pytest.mark.benchmark
def test_the_filter_beside_the_processor() -> None:
    try:
        on_device.require_device()
    except InputError as refusal:
        pytest.skip(str(refusal))
    ship = {"kind": "elements", "epoch": START_JD, "motion": "perturbed"} | ELEMENTS
    study = a_study(ship, days=365.25 * YEARS)
    epochs, r_km, v_km_s = invented_belt(BODIES, 7).states()
    states, span, planets = (
        np.hstack([r_km, v_km_s]),
        screening._span(study),
        screening._planets((study,), epochs),
    )
    legs = screening._legs(0, study, screening.mothership_of(study, planets))
    asked = {"planets": planets, "step_s": study.search.step_days * DAY_S}
    _HERE.update(states=states, epochs=epochs, legs=legs, asked=asked, span=span)

    def filtered(count: int) -> np.ndarray:
        return on_device.worth_a_look(epochs[:count], states[:count], legs, span_tdb_s=span, **asked)

    filtered(1_000)  # compiles
    begun = time.perf_counter()
    kept = filtered(BODIES)
    on_gpu_s = time.perf_counter() - begun
    cores = os.cpu_count() or 1
    begun = time.perf_counter()
    with ProcessPoolExecutor(cores) as pool:
        near = np.concatenate(list(pool.map(_near, range(0, BODIES, TASK))))
    on_cores_s = time.perf_counter() - begun
    assert kept[near].all()
    rows = [
        ("on the GPU, with transfers", f"{on_gpu_s:.2f} s", "1"),
        (f"on {cores} cores", f"{on_cores_s:.1f} s", f"{on_cores_s / on_gpu_s:.0f}"),
        ("bodies kept, of these near", f"{kept.sum()}", f"{len(near)}"),
    ]
    print_table(f"march and coarse look, {BODIES} bodies, {YEARS:g} years", rows)
