"""An encounter that a limit along its arc forbids, and that would be the best of all, stands in no list.

The first body is a prize. Its only encounter is released away from the Sun, where the study may want releases towards
it. With the limit lifted it is everywhere, so each of these tests can fail.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import pytest

from swarm.decide.replan import Ground, World, answers
from swarm.optimize.search import Optimised
from swarm.plan.flight import Flight
from swarm.plan.pairs import pairs_of
from swarm.plan.question import Question, pose
from swarm.run.workers import Pool
from tests.helpers.flown_as_aimed import compare, optimize, recourse_of, without_errors
from tests.helpers.serial_pool import Serial
from tests.helpers.small_cases import (
    START_JD_TDB,
    make_opportunities,
    make_study,
    make_targets,
    mothership_table,
)

PRIZE = 0
RELEASED_JD_TDB = START_JD_TDB + np.array([200.0, 120.0, 140.0, 160.0, 180.0])
# one encounter each, and a second one of the body that two probes may share
TARGETS = [PRIZE, 1, 2, 3, 3]


class Case(NamedTuple):
    study: Any
    table: pa.Table
    targets: Any
    path: pa.Table

    @property
    def judged(self):
        return without_errors(self.study, self.table, self.targets)

    @property
    def question(self) -> Question:
        flight = Flight(self.table, self.path)
        return Question(self.study, self.table, self.targets, self.judged, flight, self.study.probe.count)


def made(limit_deg: float, *, pairs: bool = False) -> Case:
    """Releases of the prize 180 degrees off the Sun, of all others at the Sun."""
    study = make_study(
        [
            {"name": "prize", "where": {"diameter_km_min": 50.0}, "baseline": 1, "weight": 10.0},
            {"name": "any", "baseline": 4},
        ],
        probe={"count": 2},
        survival={"success": 0.8, "shared_fraction": 0.0},
        constraints={"release_sun_angle_max_deg": limit_deg, "release_spacing_days": 1.0, "pairs": pairs},
        optimize={"levels": 3},
        compare={"counts": [0, 1, 2], "seeds": 1},
    )
    path = mothership_table()
    days = np.asarray(path["t_jd_tdb"])
    rows = np.searchsorted(days, RELEASED_JD_TDB)
    ship = np.column_stack([np.asarray(path[name])[rows] for name in ("x_km", "y_km", "z_km")])
    burns = -50.0 * ship / np.linalg.norm(ship, axis=1, keepdims=True)
    burns[0] *= -1.0
    added = {f"burn_{axis}_m_s": burns[:, k] for k, axis in enumerate("xyz")}
    met = RELEASED_JD_TDB + 150.0
    table = make_opportunities(
        TARGETS, sun_earth_probe_deg=[90.0] * 5, v_rel_km_s=[4.0] * 5, phase_in_deg=[60.0] * 5, burn_m_s=[50.0] * 5,
        release_jd_tdb=RELEASED_JD_TDB, burn_jd_tdb=RELEASED_JD_TDB + 3.0, encounter_jd_tdb=met,
        target_x_km=[3e8] * 5, target_y_km=[1e8] * 5, target_z_km=[0.0] * 5, **added,
    )  # fmt: skip
    return Case(study, table, make_targets(["C"] * 4, diameter_km=[60.0, 3.0, 3.0, 3.0]), path)


def searched(case: Case) -> Optimised:
    return optimize(
        case.study, case.table, case.targets, mothership=case.path, pool=Serial(), judged=case.judged
    )


LIMITS = pytest.mark.parametrize(
    ("limit_deg", "there"), [(180.0, True), (90.0, False)], ids=["lifted", "kept"]
)


@LIMITS
def test_no_plan_of_the_front_flies_it(limit_deg: float, there: bool) -> None:
    case = made(limit_deg)
    assert (case.table["opportunity"][0].as_py() in searched(case).plans["opportunity"].to_pylist()) == there


def recourse_in(case):
    """Recourse of the plan that flies the second and the third opportunity."""
    return recourse_of(
        case.study,
        case.table,
        case.targets,
        np.array([1, 2]),
        number=0,
        mothership=case.path,
        judged=case.judged,
    )


@LIMITS
def test_no_probe_has_it_as_an_alternate(limit_deg: float, there: bool) -> None:
    case = made(limit_deg)
    found = recourse_in(case)
    assert set(found.alternates["target"].to_pylist()) <= {"X0", "X3"}
    assert ("X0" in found.alternates["target"].to_pylist()) == there


@LIMITS
def test_no_dead_probes_successor_is_given_it(limit_deg: float, there: bool) -> None:
    case = made(limit_deg)
    found = recourse_in(case)
    # the prize alone is worth ten of eleven weights
    assert (max(found.probes["science_reassigned"].to_pylist()) > 0.5) == there


@LIMITS
def test_no_count_flies_it(limit_deg: float, there: bool) -> None:
    case = made(limit_deg)
    found = compare(
        case.study, case.table, case.targets, mothership=case.path, pool=Serial(), judged=case.judged
    )
    assert (case.table["opportunity"][0].as_py() in found.members["opportunity"].to_pylist()) == there


@LIMITS
def test_no_break_even_of_a_pair_rests_on_it(limit_deg: float, there: bool) -> None:
    case = made(limit_deg, pairs=True)
    posed = pose(case.question)
    shared = posed.places(np.array([3, 4]))
    (pair,) = pairs_of(shared, posed.data, posed.rules)
    assert (posed.rows[pair.other] == 0) == there


@LIMITS
def test_no_plan_made_again_flies_it(limit_deg: float, there: bool) -> None:
    case = made(limit_deg)
    plan = np.array([1, 2])
    ground = Ground(case.table, case.targets, case.judged, Flight(case.table, case.path), plan[None, :])
    changed = case.study.model_copy(
        update={"survival": case.study.survival.model_copy(update={"success": 0.7})}
    )
    (answer,) = answers([World(0, changed, plan)], [ground], spent_kg=10.0, effort=1, pool=Pool())
    assert (0 in answer.plan.tolist()) == there
    assert (0 in answer.front.ravel().tolist()) == there
