"""What hits a planet later: each probe's ballistic continuation after its encounter, and from its release if it dies
before its burn; each loose part from its release.

Sampled over the dispersion, corrections flown, no passivation manoeuvre. Counts of samples bound a chance only from
above where none hits: the upper end of the interval is the figure to read. The mothership's own disposal is not planned
here. All in km, km/s, s.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from swarm.refine.chance import Chance
from swarm.refine.continuation import follow_to_impact
from swarm.refine.dispersion import root_of, rows_through
from swarm.refine.forces import NAMES, OK
from swarm.refine.nbody import make_field, span_with
from swarm.refine.released import (
    IMPACT,
    PART_IMPACT,
    UNBURNED_IMPACT,
    has_part,
    own_of,
    part_beta,
    part_states,
    random_of,
)
from swarm.refine.whole_plan import FlownProbe
from swarm.study.schema import Study
from targets.base.constants import JULIAN_YEAR_S
from targets.base.errors import InputError

Floats = NDArray[np.float64]


def impacts_of(one: FlownProbe, study: Study) -> list[Chance]:
    """One task: a probe's dispersed continuations, burned and not, and its loose part's, for as long as is asked."""
    study = own_of(study, one)
    made, count = one.made, study.refine.impact_samples
    released_s = made.arc.release_tdb_s
    states = _dispersed(made.probe, one.full.encounter_cov, random_of(study, one, IMPACT), count)
    out = _counted(study, one, states, made.encounter_tdb_s, beta=made.beta[1])
    states = _dispersed(made.released, one.full.released_cov, random_of(study, one, UNBURNED_IMPACT), count)
    out += _counted(study, one, states, released_s, beta=made.beta[0], unburned=True)
    if has_part(study):
        states = part_states(study, one, random_of(study, one, PART_IMPACT), count, mothership_errors=True)
        out += _counted(study, one, states, released_s, beta=part_beta(study), part=True)
    return out


def _dispersed(nominal: Floats, covariance: Floats, random: np.random.Generator, count: int) -> Floats:
    return nominal + rows_through(random.standard_normal((count, 6)), root_of(covariance))


def _counted(
    study: Study,
    one: FlownProbe,
    states: Floats,
    begin: float,
    *,
    beta: float,
    part: bool = False,
    unburned: bool = False,
) -> list[Chance]:
    rules, probe = study.refine, one.made.arc.probe
    asked = {"impact": rules.impact_years, "earth": rules.earth_years}
    span_s = max(asked.values()) * JULIAN_YEAR_S
    try:
        field = make_field(*span_with([begin, begin + span_s]))
    except InputError:  # the kernel ends earlier: nothing was sampled, and the interval says so
        return [
            Chance(kind, probe, part, "", 0, 0, years, math.inf, unburned) for kind, years in asked.items()
        ]
    found = follow_to_impact(field.tables, states, begin, span_s, beta=beta)
    struck = {"impact": found.hit > 0, "earth": found.hit == NAMES.index("Earth")}
    followed = int((found.status == OK).sum())
    out = []
    for kind, years in asked.items():
        hits = int((struck[kind] & (found.when_s < years * JULIAN_YEAR_S)).sum())
        out.append(Chance(kind, probe, part, "", hits, followed, years, math.inf, unburned))
    return out
