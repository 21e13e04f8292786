"""The checker has to find what it is there for: each kind of damage to good tables is noticed."""

from __future__ import annotations

import pyarrow as pa
import pytest

from tests.helpers.plan_checker import problems_of
from tests.helpers.small_cases import END_JD_TDB, START_JD_TDB, make_study

STUDY = make_study(constraints={"blackouts": [[START_JD_TDB + 500.0, START_JD_TDB + 520.0]]})
RELEASES = [START_JD_TDB + days for days in (0.0, 10.0, 20.0, 505.0)]
OPPORTUNITIES = {
    "opportunity": [7, 8, 9, 10],
    "target": ["A", "B", "C", "D"],
    "release_jd_tdb": RELEASES,
    "burn_jd_tdb": [t + 3.0 for t in RELEASES],
    "encounter_jd_tdb": [t + 100.0 for t in RELEASES],
    "burn_m_s": [50.0] * 4,
    "sun_earth_probe_deg": [40.0] * 4,
}
FRONT = {
    "plan": [0, 1],
    "probes": [0, 2],
    "science": [0.0, 0.4],
    "propellant_kg": [0.0, 0.75],
    "risk": [1.0, 0.3],
}
PLANS = {
    "plan": [1, 1],
    "probe": [0, 1],
    "opportunity": [7, 9],
    "success": [0.75] * 2,
    "propellant_kg": [0.25, 0.5],
}


def check(**changes: dict) -> list[str]:
    tables = {"opportunities": OPPORTUNITIES, "front": FRONT, "plans": PLANS}
    changed = {name: pa.table({**table, **changes.get(name, {})}) for name, table in tables.items()}
    return problems_of(STUDY, **changed)


def test_good_tables_pass() -> None:
    assert check() == []


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"plans": {"opportunity": [7, 11]}}, "not in the table"),
        ({"plans": {"opportunity": [9, 7]}}, "order of release"),
        ({"plans": {"opportunity": [7, 10]}}, "blackout"),
        ({"plans": {"probe": [1, 2]}}, "probe numbers"),
        ({"plans": {"plan": [1, 3]}}, "not on the front"),
        ({"plans": {"propellant_kg": [0.25, 0.51]}}, "probes use"),
        ({"plans": {"success": [0.75, 1.1]}}, "success out of range"),
        ({"opportunities": {"target": ["A", "B", "A", "D"]}}, "too often"),
        (
            {"opportunities": {"release_jd_tdb": [RELEASES[0], *[t - 14.0 for t in RELEASES[1:]]]}},
            "days apart",
        ),
        ({"opportunities": {"sun_earth_probe_deg": [4.0] * 4}}, "sun_earth_probe_deg is 4.0"),
        ({"opportunities": {"burn_m_s": [151.0] * 4}}, "burn_limit_m_s"),
        ({"opportunities": {"encounter_jd_tdb": [END_JD_TDB + 1.0] * 4}}, "span"),
        ({"opportunities": {"burn_jd_tdb": [t + 2.9 for t in RELEASES]}}, "check-out"),
        ({"opportunities": {"encounter_jd_tdb": [t + 3.5 for t in RELEASES]}}, "burn_share_max"),
        ({"front": {"plan": [0, 2]}}, "plan numbers"),
        ({"front": {"probes": [1, 2]}}, "empty plan is missing"),
        ({"front": {"science": [0.0, 1.4]}}, "out of range"),
        ({"front": {"science": [0.0, 0.0], "risk": [1.0, 1.0]}}, "dominated"),
        ({"front": {"risk": [0.9, 0.3]}}, "risk of no probes"),
    ],
)
def test_damage_is_noticed(changes: dict, sentence: str) -> None:
    assert any(sentence in problem for problem in check(**changes))
