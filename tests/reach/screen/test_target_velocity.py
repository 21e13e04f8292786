"""The target's state at an encounter is the perturbed body's: place and velocity, against an outside integrator."""

from __future__ import annotations

import numpy as np
import pytest

from swarm.reach.opportunities import screen
from swarm.run.workers import Pool
from targets.catalogue.invented import invented_belt
from targets.catalogue.knowledge import states_at
from tests.helpers.pulled_study import ELEMENTS, START_JD, a_study


@pytest.mark.crosscheck
def test_velocities_agree_with_the_outside_integrator_to_a_metre_per_second(assist_states) -> None:
    """Sixty opportunities, years after their bodies' epochs; two-body motion is off by a hundred metres per second."""
    ship = {"kind": "elements", "epoch": START_JD, "motion": "perturbed"} | ELEMENTS
    found = screen(a_study(ship), invented_belt(60_000, 8), pool=Pool())
    table = found.opportunities
    chosen = np.sort(np.random.default_rng(4).permutation(table.num_rows)[:60])
    rows = table.take(chosen)
    assert rows.num_rows == 60
    index, met_s = rows["target_index"].to_numpy(), rows["encounter_tdb_s"].to_numpy()
    epochs, r, v = found.targets.states()
    outside = np.array(
        [
            assist_states(np.concatenate([r[b], v[b]])[None], float(epochs[b]), float(t))[0]
            for b, t in zip(index, met_s, strict=True)
        ]
    )
    ours = np.column_stack([rows[f"target_v{axis}_km_s"].to_numpy() for axis in "xyz"])
    two_body = states_at(found.targets.take(index), met_s)[1]
    off_m_s, off_two_body = (1e3 * np.linalg.norm(x - outside[:, 3:], axis=1) for x in (ours, two_body))
    print(  # noqa: T201
        f"off by {np.median(off_m_s):.4f} m/s (worst {off_m_s.max():.4f}); two-body {np.median(off_two_body):.1f}"
    )
    assert off_m_s.max() < 1.0
    assert np.median(off_two_body) > 10.0
