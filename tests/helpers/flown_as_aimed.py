"""Chances of encounters that are flown exactly as aimed, and the product's functions with these chances.

With them a value can be worked out by hand: quality is certain, and only the Sun can stop the data.
"""

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.decide import counts, recourse
from swarm.encounter.propellant import dv99_m_s
from swarm.encounter.quality import data_return_chances, flyby_quality
from swarm.optimize import search
from swarm.plan import constraints, data, rules
from swarm.plan.data import Chances, column, row_qualities
from swarm.study.schema import Study
from targets.catalogue.bodies import Catalogue
from targets.catalogue.worth import diameters

Floats = NDArray[np.float64]


def without_errors(study: Study, opportunities: pa.Table, targets: Catalogue) -> Chances:
    """Judge encounters as if flown exactly as aimed: quality is certain, only the Sun can stop the data.

    The correction allowance is that of the execution error of the main burn alone.
    """
    quality = encounter_qualities(study, opportunities, targets)
    returned = data_return_chances(
        column(opportunities, "sun_earth_probe_deg"), minimum_deg=study.constraints.sun_earth_probe_min_deg
    )
    return Chances(
        chance_returned=returned,
        chance_quality=(quality[:, None] >= row_qualities(study)).astype(np.float64),
        dv99_m_s=dv99_m_s(column(opportunities, "burn_m_s"), study.probe),
        home_days=np.zeros(len(quality)),
        relayed=np.zeros(len(quality), dtype=bool),
    )


def encounter_qualities(study: Study, opportunities: pa.Table, targets: Catalogue) -> Floats:
    """Return the quality, 0 to 1, of each opportunity's encounter, (n,)."""
    diameter_km, _ = diameters(targets)
    return flyby_quality(
        study.probe,
        column(opportunities, "v_rel_km_s"),
        column(opportunities, "phase_in_deg"),
        diameter_km=diameter_km[column(opportunities, "target_index")],
    )


def _with_chances(study, opportunities, targets, given):
    if given.get("judged") is not None:
        return given
    return {**given, "judged": without_errors(study, opportunities, targets)}


def judged_again(study, opportunities, targets, *, pool):
    """In the place of `swarm.decide.sensitivity.judged_again`."""
    return without_errors(study, opportunities, targets)


def plan_data(study, opportunities, targets, **given):
    return data.plan_data(
        study, opportunities, targets, **_with_chances(study, opportunities, targets, given)
    )


def optimize(study, opportunities, targets, *, mothership=None, **given):
    given = _with_chances(study, opportunities, targets, given)
    return search.optimize(study, opportunities, targets, mothership=mothership, **given)


def compare(study, opportunities, targets, *, mothership=None, **given):
    given = _with_chances(study, opportunities, targets, given)
    return counts.compare(study, opportunities, targets, mothership=mothership, **given)


def recourse_of(study, opportunities, targets, plan, *, mothership=None, **given):
    given = _with_chances(study, opportunities, targets, given)
    return recourse.recourse(study, opportunities, targets, plan, mothership=mothership, **given)


def plan_rules(study, opportunities, known, *, flight=None, relayed=None):
    """Without a path where the study limits nothing along the arcs; every encounter by the relay unless given."""
    relayed = np.ones(opportunities.num_rows, dtype=bool) if relayed is None else relayed
    return rules.plan_rules(study, opportunities, known, flight=flight, relayed=relayed)


def allowed(study, opportunities, flight=None):
    """Without a path where the study limits nothing along the arcs."""
    return constraints.allowed(study, opportunities, flight)
