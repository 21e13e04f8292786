"""What hits a planet later: each probe's ballistic continuation after its encounter, each loose part from its release.

Sampled over the dispersion, corrections flown, no passivation manoeuvre. Counts of samples bound a chance only from
above where none hits: the upper end of the interval is the figure to read. The carrier's own disposal is not planned
here. All in km, km/s, s.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from swarm.refine.chance import Chance
from swarm.refine.dispersion import root_of, rows_through
from swarm.refine.follow import follow
from swarm.refine.nbody import NAMES, OK, make_field, span_with
from swarm.refine.plan import Flown
from swarm.refine.released import IMPACT, PART_IMPACT, has_part, part_beta, part_states, random_of
from swarm.study import Study
from targets.constants import JULIAN_YEAR_S
from targets.errors import InputError

Floats = NDArray[np.float64]


def impacts_of(one: Flown, study: Study) -> list[Chance]:
    """One task: a probe's dispersed continuations, and its loose part's, followed for as long as is asked."""
    made, count = one.made, study.refine.impact_samples
    normals = random_of(study, one, IMPACT).standard_normal((count, 6))
    states = made.probe + rows_through(normals, root_of(one.full.encounter_cov))
    out = _counted(study, one, states, made.encounter_tdb_s, beta=made.beta[1], part=False)
    if has_part(study):
        states = part_states(study, one, random_of(study, one, PART_IMPACT), count, carrier_errors=True)
        out += _counted(study, one, states, made.arc.release_tdb_s, beta=part_beta(study), part=True)
    return out


def _counted(
    study: Study, one: Flown, states: Floats, begin: float, *, beta: float, part: bool
) -> list[Chance]:
    rules, probe = study.refine, one.made.arc.probe
    asked = {"impact": rules.impact_years, "earth": rules.earth_years}
    span_s = max(asked.values()) * JULIAN_YEAR_S
    try:
        field = make_field(*span_with([begin, begin + span_s]))
    except InputError:  # the kernel ends earlier: nothing was sampled, and the interval says so
        return [Chance(kind, probe, part, "", 0, 0, years, math.inf) for kind, years in asked.items()]
    found = follow(field.tables, states, begin, span_s, beta=beta)
    struck = {"impact": found.hit > 0, "earth": found.hit == NAMES.index("Earth")}
    followed = int((found.status == OK).sum())
    return [
        Chance(kind, probe, part, "", int((struck[kind] & within).sum()), followed, years, math.inf)
        for kind, years in asked.items()
        for within in [found.when_s < years * JULIAN_YEAR_S]
    ]
