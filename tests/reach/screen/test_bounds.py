"""The statements the screen drops bodies by, attacked with sampled burns, bodies and times."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swarm.reach.mothership.from_elements import path_from_elements, state_at_epoch
from swarm.reach.screen.approaches import safe_skip, stays_outside, strongest_pull
from swarm.reach.screen.reach_bound import curvature_margin, largest_stretch, reach_bound
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.base.timescale import tdb_s_from_jd
from targets.ephemeris.planets import sample_planets
from targets.motion.twobody import drift_states, states_from_elements

START_S = float(tdb_s_from_jd(2461200.5))
YEARS = 3.0
# (mothership, burn limit km/s, longest arc d): near the Earth, across the belt, deep in the belt
CASES = {
    "near Earth": ({"a_au": 1.12, "e": 0.13, "i_deg": 2.0}, 0.2, 400.0),
    "across": ({"a_au": 1.95, "e": 0.487, "i_deg": 2.4}, 0.15, 500.0),
    "belt": ({"a_au": 2.5, "e": 0.1, "i_deg": 6.0}, 0.15, 500.0),
    "strong burn": ({"a_au": 1.5, "e": 0.2, "i_deg": 1.0}, 0.4, 500.0),
}


@pytest.fixture(scope="module")
def planets():
    return sample_planets(START_S, START_S + (YEARS + 0.1) * 365.25 * DAY_S)


@pytest.mark.parametrize("name", CASES)
def test_reach_bound_is_never_passed(name: str, planets) -> None:
    elements, limit_km_s, arc_max_days = CASES[name]
    state = state_at_epoch(node_deg=40.0, argp_deg=70.0, mean_anomaly_deg=10.0, **elements)
    path = path_from_elements(
        state,
        START_S,
        start_tdb_s=START_S,
        end_tdb_s=START_S + YEARS * 365.25 * DAY_S,
        motion="kepler",
        planets=planets,
    )
    burns = START_S + np.arange(0.0, 500.0, 50.0) * DAY_S
    bound = reach_bound(
        path, burns, burn_limit_km_s=limit_km_s, arc_min_s=30.0 * DAY_S, arc_max_s=arc_max_days * DAY_S
    )
    rng = np.random.default_rng(4)
    share = np.zeros(len(burns))
    for slot, burn_s in enumerate(burns):
        tof = rng.uniform(30.0, arc_max_days, 4000) * DAY_S
        kicks = rng.normal(size=(4000, 3))
        kicks *= limit_km_s / np.linalg.norm(kicks, axis=1)[:, None]
        start = path.at(float(burn_s))[0]
        # half of the burns along the direction that carries farthest, found by trying
        kicks[2000:] = (
            np.sign(rng.normal(size=(2000, 1))) * start[3:] / np.linalg.norm(start[3:]) * limit_km_s
        )
        end, _ = drift_states(np.broadcast_to(start[:3], (4000, 3)), start[3:] + kicks, tof)
        free, _ = drift_states(
            np.broadcast_to(start[:3], (4000, 3)), np.broadcast_to(start[3:], (4000, 3)), tof
        )
        node = (burn_s + tof - path.start_tdb_s) / path.step_s
        allowed = np.maximum(
            bound.slot_km[slot, np.floor(node).astype(int)], bound.slot_km[slot, np.ceil(node).astype(int)]
        )
        share[slot] = (np.linalg.norm(end - free, axis=1) / allowed).max()
        assert (bound.slot_km[slot] <= bound.any_km).all()
    assert share.max() <= 1.0
    # an empty promise would be far above what a burn does; halved, this bound would be passed
    assert share.max() > 0.6


def test_curvature_margin_grows_with_the_displacement() -> None:
    # 2.4 % was the most seen at 150 m/s and 500 d; 5 % is taken there
    assert curvature_margin(0.15, 500.0 * DAY_S) == pytest.approx(0.05)
    assert curvature_margin(0.30, 500.0 * DAY_S) == pytest.approx(0.10)
    assert curvature_margin(0.05, 100.0 * DAY_S) == pytest.approx(0.05)


@given(
    st.floats(min_value=1e3, max_value=1e9),
    st.floats(min_value=-60.0, max_value=60.0),
    st.floats(min_value=1e-8, max_value=1e-3),
)
@settings(max_examples=500)
def test_skip_is_the_first_time_the_worst_case_closes_the_gap(
    gap: float, closing: float, pull: float
) -> None:
    t = safe_skip(gap, closing, pull)
    assert t >= 0.0
    left = gap - closing * t - 0.5 * pull * t * t
    assert abs(left) <= 1e-6 * (gap + abs(closing) * t + 0.5 * pull * t * t)


def test_a_skipped_body_stays_outside() -> None:
    """Random pairs of orbits: over the skip the true distance never falls under the bound."""
    rng = np.random.default_rng(9)
    count = 3000
    bound_km = 1.5e7

    def states(q_low: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        q = rng.uniform(q_low, 2.5, count) * AU_KM
        e = rng.uniform(0.0, 0.7, count)
        r, v = states_from_elements(q / (1.0 - e), e, *(rng.uniform(0.0, 3.0, count) for _ in range(4)))
        return r, v, q

    ra, va, qa = states(0.3)
    rb, vb, qb = states(0.9)
    apart = np.linalg.norm(ra - rb, axis=1)
    closing = -np.einsum("ij,ij->i", ra - rb, va - vb) / apart
    pull = GM_SUN_KM3_S2 / qa**2 + GM_SUN_KM3_S2 / qb**2
    outside = apart > bound_km
    least = np.full(count, np.inf)
    skip = np.array(
        [safe_skip(max(d - bound_km, 1.0), c, p) for d, c, p in zip(apart, closing, pull, strict=True)]
    )
    for part in np.linspace(0.0, 1.0, 40):
        a, _ = drift_states(ra, va, part * skip)
        b, _ = drift_states(rb, vb, part * skip)
        least = np.minimum(least, np.linalg.norm(a - b, axis=1))
    assert (least[outside] >= bound_km * (1.0 - 1e-12)).all()
    # a longer skip would jump over a passage: the rule is not far from the truth for some pair
    entered = np.zeros(count, dtype=bool)
    for part in np.linspace(1.0, 2.5, 40):
        a, _ = drift_states(ra, va, part * skip)
        b, _ = drift_states(rb, vb, part * skip)
        entered |= np.linalg.norm(a - b, axis=1) < bound_km
    assert entered[outside].any()


def test_a_body_said_to_stay_outside_does() -> None:
    """Random pairs of orbits, half steps of up to 25 days: the true least distance against the coarse look."""
    rng = np.random.default_rng(10)
    count = 20_000
    bound_km = 1.5e7

    def states(q_low: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        q = rng.uniform(q_low, 2.5, count) * AU_KM
        e = rng.uniform(0.0, 0.95, count)
        r, v = states_from_elements(
            q / (1.0 - e), e, *(rng.uniform(0.0, 2.0 * np.pi, count) for _ in range(4))
        )
        return r, v, q

    ra, va, qa = states(0.1)
    rb, vb, qb = states(0.8)
    half = rng.uniform(1.0, 25.0, count) * DAY_S
    pulls = [
        np.array(
            [
                strongest_pull(*row)
                for row in zip(*(np.linalg.norm(x, axis=1) for x in (r, v)), q, half, strict=True)
            ]
        )
        for r, v, q in ((ra, va, qa), (rb, vb, qb))
    ]
    outside = np.array(
        [
            stays_outside(*(ra[k] - rb[k]), *(va[k] - vb[k]), half[k], pulls[0][k] + pulls[1][k], bound_km)
            for k in range(count)
        ]
    )
    least, strongest = np.full(count, np.inf), np.zeros(count)
    for part in np.linspace(-1.0, 1.0, 61):
        a, _ = drift_states(ra, va, part * half)
        b, _ = drift_states(rb, vb, part * half)
        least = np.minimum(least, np.linalg.norm(a - b, axis=1))
        strongest = np.maximum(strongest, GM_SUN_KM3_S2 / np.einsum("ij,ij->i", a, a))
    assert (strongest <= pulls[0] * (1.0 + 1e-12)).all()
    assert (least[outside] > bound_km).all()
    # it is of use: most pairs are dropped at once, and some that are dropped come within twice the bound
    assert outside.mean() > 0.7
    assert (least[outside] < 2.0 * bound_km).any()


def test_the_largest_stretch_is_that_of_numpy_and_never_less() -> None:
    """Against LAPACK's singular values, drawn and degenerate: at most 2e-7 more, and never less."""
    rng = np.random.default_rng(8)
    drawn = rng.normal(size=(5000, 3, 3)) * 10.0 ** rng.uniform(-3.0, 8.0, (5000, 1, 1))
    turns = np.linalg.qr(rng.normal(size=(3000, 3, 3)))[0]
    sizes = np.repeat(np.array([[2.0, 2.0, 1.0], [3.0, 3.0, 3.0], [5.0, 1e-9, 0.0]]), 1000, axis=0)
    blocks = np.concatenate([drawn, turns * sizes[:, None, :]])
    right = np.linalg.svd(blocks, compute_uv=False)[:, 0]
    found = largest_stretch(blocks)
    assert (found >= right).all()
    np.testing.assert_allclose(found, right, rtol=2e-7)
