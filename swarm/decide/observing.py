"""The astronomers' list: which targets of the front better orbits or colours would help most, and when.

For every target that a plan of the front visits: when it can be observed from the Earth before its first
release, where it will be known to be at the encounter now and with a better orbit, and what the plans gain.
The gain from an orbit is the science with the encounters judged again for the better orbit. The gain from
colours is the value of knowing the class before release: the probe goes to its target where the class
is worth more than the best other encounter, and there where it is not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.plan.data import Chances, PlanData, column, plan_data
from swarm.plan.flight import Flight
from swarm.plan.judged import chances_of, judge_all
from swarm.plan.measures import plans_matrix
from swarm.plan.objectives import evaluate, set_prices
from swarm.plan.pairs import best_replacement
from swarm.plan.question import Question, pose
from swarm.plan.rules import PlanRules
from swarm.run.kinds import at_places
from targets.base.constants import AU_KM
from targets.base.timescale import tdb_s_from_jd
from targets.base.vectors import angle_deg
from targets.catalogue.classes import label_of
from targets.catalogue.knowledge import RUNOFF_ARCSEC_PER_DECADE, position_covariance_km2, states_at
from targets.catalogue.physical import apparent_magnitude
from targets.catalogue.reading import Catalogue
from targets.ephemeris.planets import EARTH, sample_planets

if TYPE_CHECKING:
    from swarm.run.workers import Pool
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Plans of the front that gains are averaged over, spread evenly along it: enough for a ranking.
PLANS_MAX = 300


# --- when it can be seen ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sky:
    """n bodies on d dates as seen from the Earth's centre; each (n, d)."""

    jd_tdb: Floats  # (d,)
    magnitude: Floats
    elongation_deg: Floats


def sky(targets: Catalogue, jd_tdb: Floats) -> Sky:
    """Return magnitudes and solar elongations on the given dates, (d,).

    Two-body positions from the catalogue's epoch: a few million km off after years, which no magnitude shows.
    Light time is left out (minutes). Above 120 deg of phase the magnitude law is an extrapolation.
    """
    tdb_s = tdb_s_from_jd(np.asarray(jd_tdb, dtype=float))
    earth_km = sample_planets(tdb_s.min(), tdb_s.max()).state(EARTH, tdb_s)[:, :3]
    n, d = len(targets), len(tdb_s)
    repeated = targets.take(np.repeat(np.arange(n), d))
    r_km = states_at(repeated, np.tile(tdb_s, n))[0].reshape(n, d, 3)
    from_earth_km = r_km - earth_km
    magnitude = apparent_magnitude(
        targets.h_mag[:, None],
        targets.g_slope[:, None],
        np.linalg.norm(r_km, axis=2) / AU_KM,
        np.linalg.norm(from_earth_km, axis=2) / AU_KM,
        angle_deg(r_km, from_earth_km),
    )
    return Sky(
        np.asarray(jd_tdb, float),
        magnitude,
        angle_deg(np.broadcast_to(-earth_km, r_km.shape), from_earth_km),
    )


def observing_dates(study: Study, until_jd_tdb: float) -> Floats:
    """Return the dates looked at: from the study's date to the last release of interest, evenly spaced."""
    first = min(study.study.date_jd_tdb, until_jd_tdb)
    return first + np.arange(0.0, until_jd_tdb - first + 1e-9, study.observing.step_days)


def windows(study: Study, seen: Sky, before_jd_tdb: Floats) -> dict[str, Floats]:
    """Return, for each body, when it can be observed before its own date `before_jd_tdb`, (n,).

    first_seen_jd_tdb, last_seen_jd_tdb, brightest_jd_tdb, brightest_mag are NaN where it never can; days_seen
    counts the dates within the limits of magnitude and elongation times their step.
    """
    limits = study.observing
    fit = (
        (seen.magnitude <= limits.magnitude_limit)
        & (seen.elongation_deg >= limits.elongation_min_deg)
        & (seen.jd_tdb[None, :] < before_jd_tdb[:, None])
    )
    ever = fit.any(axis=1)
    brightest = np.where(fit, seen.magnitude, np.inf).argmin(axis=1)
    rows = np.arange(len(fit))
    dates = {
        "first_seen_jd_tdb": seen.jd_tdb[fit.argmax(axis=1)],
        "last_seen_jd_tdb": seen.jd_tdb[fit.shape[1] - 1 - fit[:, ::-1].argmax(axis=1)],
        "brightest_jd_tdb": seen.jd_tdb[brightest],
        "brightest_mag": seen.magnitude[rows, brightest],
        "brightest_elongation_deg": seen.elongation_deg[rows, brightest],
    }
    told = {name: np.where(ever, values, np.nan) for name, values in dates.items()}
    return {"days_seen": fit.sum(axis=1) * limits.step_days, **told}


# --- a better orbit -----------------------------------------------------------------------------------------


def with_better_orbits(targets: Catalogue, classes: int) -> Catalogue:
    """Return the bodies as if every orbit were known `classes` of U better; sigmas shrink by the same ratio."""
    better = np.maximum(targets.u_code.astype(int) - classes, 0)
    runoff = np.array(RUNOFF_ARCSEC_PER_DECADE)
    shrunk = runoff[0] / runoff[min(classes, 8)]
    sigma, covariance = targets.element_sigma, targets.element_covariance
    return replace(
        targets,
        u_code=better.astype(np.int8),
        element_sigma=None if sigma is None else sigma * shrunk,
        element_covariance=None if covariance is None else covariance * shrunk**2,
    )


def uncertainty_km(study: Study, targets: Catalogue, encounter_jd_tdb: Floats) -> Floats:
    """Return the largest sigma of where each body is at its encounter, km, (n,)."""
    met_s = tdb_s_from_jd(encounter_jd_tdb)
    # of the velocity only the length counts here, which planets change by a percent at most
    velocity = states_at(targets, met_s)[1]
    covariance, _ = position_covariance_km2(targets, met_s, velocity_km_s=velocity, **_knowledge(study))
    return np.sqrt(np.linalg.eigvalsh(covariance)[:, -1])


def _knowledge(study: Study) -> dict[str, Any]:
    settings = study.knowledge
    return {"floor_km": settings.target_floor_km, "runoff_fraction": settings.runoff_fraction}


# --- what it is worth ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Uses:
    """Every visit of a plan: row of the plans' matrix, place in it; (v,)."""

    plan: Ints
    place: Ints


def _uses(matrix: Ints, looked_at: NDArray) -> Uses:
    """Visits of the opportunities of a mask, (n,)."""
    plan, place = np.nonzero((matrix >= 0) & np.append(looked_at, False)[matrix])
    return Uses(plan, place)


def orbit_gains(matrix: Ints, uses: Uses, data: PlanData, better: PlanData) -> Floats:
    """Return the science each visit's plan gains if the orbit of that target alone is better, (v,)."""
    if not len(uses.plan):
        return np.zeros(0)
    both, shift = _side_by_side(data, better), len(data.target)
    now = evaluate(matrix, data)[:, 0]
    changed = matrix[uses.plan]
    target = data.target[matrix[uses.plan, uses.place]]
    same = (changed >= 0) & (data.target[np.maximum(changed, 0)] == target[:, None])
    return evaluate(np.where(same, changed + shift, changed), both)[:, 0] - now[uses.plan]


def _side_by_side(first: PlanData, second: PlanData) -> PlanData:
    """One record with the opportunities of both, the second's after the first's; rows and targets are shared."""
    sets = len(first.row_sets)

    def joined(name: str) -> NDArray:
        return np.concatenate([getattr(first, name), getattr(second, name)])

    each = ("target", "propellant_kg", "hardware", "data_return", "group_mask")
    listed = ("outcome_class", "outcome_chance", "merged_chance", "row_sets")
    columns: dict[str, Any] = {name: joined(name) for name in (*each, *listed)}
    for kind in ("outcome", "merged"):
        ends = getattr(first, f"{kind}_start")
        columns[f"{kind}_start"] = np.concatenate([ends[:-1], getattr(second, f"{kind}_start") + ends[-1]])
        in_both = (getattr(first, f"{kind}_set"), getattr(second, f"{kind}_set") + sets)
        columns[f"{kind}_set"] = np.concatenate(in_both)
    return first._replace(**columns)


def class_gains(matrix: Ints, uses: Uses, data: PlanData, rules: PlanRules, unknown: NDArray) -> Floats:
    """Return the science each visit's plan gains if the class of that target were known before release, (v,).

    unknown : (targets,) whether the class is not known

    Value of information: the mean over the classes of the better of visiting and of the best other encounter
    that fits and burns no more, less the better of the two without knowing.
    """
    gains = np.zeros(len(uses.plan))
    for v in range(len(uses.plan)):
        plan, place = matrix[uses.plan[v]], int(uses.place[v])
        if unknown[data.target[plan[place]]]:
            _, other = best_replacement(plan, place, data, rules)
            gains[v] = _value_of_class(plan, place, other, data)
    return gains


def _value_of_class(plan: Ints, place: int, other: float, data: PlanData) -> float:
    o = plan[place]
    without, price = set_prices(plan, place, data)
    classes = data.class_chance[data.target[o]]
    slice_ = slice(data.outcome_start[o], data.outcome_start[o + 1])
    gained = np.zeros(classes.size)
    np.add.at(
        gained, data.outcome_class[slice_], data.outcome_chance[slice_] * price[data.outcome_set[slice_]]
    )
    known = float(classes @ np.maximum(without + gained, other))
    now = without + float(classes @ gained)
    return max(known - max(now, other), 0.0)


# --- the list -----------------------------------------------------------------------------------------------


def observe(
    study: Study,
    opportunities: pa.Table,
    targets: Catalogue,
    *,
    front: pa.Table,
    plans: pa.Table,
    judged: Chances,
    mothership: pa.Table | None,
    pool: Pool,
) -> pa.Table:
    """Return the list, the most helpful observation first; one row per target that the front visits.

    `success_*` are averages over the visits of the plans looked at: of the chance that the probe satisfies at
    least one row it could; `science_*` are the mean gain of the plans that visit the target.

    mothership : the mothership's path; None only where the study limits nothing along the arcs
    """
    flight = None if mothership is None else Flight(opportunities, mothership)
    posed = pose(Question(study, opportunities, targets, judged, flight, study.probe.count))
    table, chances, data, rules = posed.table, posed.judged, posed.data, posed.rules
    matrix = plans_matrix(plans, table, front.num_rows, probes=study.probe.count)
    target = column(table, "target_index").astype(np.int64)
    # of planets and moons there is nothing to find out
    bodies = ~at_places(table)
    plans_with = _plans_with(matrix, target, bodies)
    matrix = matrix[_spread_evenly(len(matrix))]
    uses = _uses(matrix, bodies)
    used = np.unique(matrix[uses.plan, uses.place])
    better = _better_data(study, table, targets, used=used, chances=chances, pool=pool)
    unknown = np.array([not label_of(text) for text in targets.taxonomy], dtype=bool)
    visits = _Visits(
        opportunity=matrix[uses.plan, uses.place],
        target=target[matrix[uses.plan, uses.place]],
        orbit=orbit_gains(matrix, uses, data, better),
        colours=class_gains(matrix, uses, data, rules, unknown),
        success=any_row_chances(data),
        success_better=any_row_chances(better),
    )
    return _list(study, table, targets, visits=visits, plans_with=plans_with)


def _spread_evenly(plans: int) -> Ints:
    return np.unique(np.linspace(0, max(plans - 1, 0), min(PLANS_MAX, plans)).astype(np.int64))


@dataclass(frozen=True)
class _Visits:
    """Visits of the plans looked at, (v,), and chances of every opportunity, (n,)."""

    opportunity: Ints
    target: Ints
    orbit: Floats
    colours: Floats
    success: Floats
    success_better: Floats


def any_row_chances(data: PlanData) -> Floats:
    """Return each opportunity's chance of satisfying at least one row, shared failures included, (n,)."""
    owner = np.repeat(np.arange(len(data.target)), np.diff(data.merged_start))
    return data.hardware * np.bincount(owner, weights=data.merged_chance, minlength=len(data.target))


def _better_data(
    study: Study, table: pa.Table, targets: Catalogue, *, used: Ints, chances: Chances, pool: Pool
) -> PlanData:
    """The objectives' data with every encounter in use judged again for a better orbit of its target."""
    improved = with_better_orbits(targets, study.observing.u_improvement)
    columns = {name: np.array(values) for name, values in chances._asdict().items()}
    if len(used):
        again = chances_of(judge_all(study, table.take(used), improved, pool=pool))
        for name, fresh in again._asdict().items():
            columns[name][used] = fresh
    return plan_data(study, table, targets, judged=Chances(**columns))


def _plans_with(matrix: Ints, target: Ints, looked_at: NDArray) -> dict[int, int]:
    """How many plans visit each target, by the opportunities of a mask."""
    uses = _uses(matrix, looked_at)
    visited = np.unique(np.stack([uses.plan, target[matrix[uses.plan, uses.place]]], axis=1), axis=0)
    bodies, counts = np.unique(visited[:, 1], return_counts=True)
    return dict(zip(bodies.tolist(), counts.tolist(), strict=True))


def _list(
    study: Study, table: pa.Table, targets: Catalogue, *, visits: _Visits, plans_with: dict[int, int]
) -> pa.Table:
    bodies, which = np.unique(visits.target, return_inverse=True)
    each = np.bincount(which, minlength=len(bodies))
    release, encounter = column(table, "release_jd_tdb"), column(table, "encounter_jd_tdb")
    first_release, first_encounter = np.full(len(bodies), np.inf), np.full(len(bodies), np.inf)
    np.minimum.at(first_release, which, release[visits.opportunity])
    np.minimum.at(first_encounter, which, encounter[visits.opportunity])

    def mean(values: Floats) -> Floats:
        return np.bincount(which, weights=values, minlength=len(bodies)) / np.maximum(each, 1)

    asked = targets.take(bodies)
    improved = with_better_orbits(asked, study.observing.u_improvement)
    orbit, colours = mean(visits.orbit), mean(visits.colours)
    columns: dict[str, Any] = {
        "target": asked.target.tolist(),
        "name": asked.name.tolist(),
        "plans": np.array([plans_with[int(body)] for body in bodies], dtype=np.int64),
        "first_release_jd_tdb": first_release,
        "u_code": asked.u_code,
        "class": asked.taxonomy.tolist(),
        **_windows(study, asked, first_release),
        "sigma_km": _sigmas_km(study, asked, first_encounter),
        "sigma_improved_km": _sigmas_km(study, improved, first_encounter),
        "success": mean(visits.success[visits.opportunity]),
        "success_improved": mean(visits.success_better[visits.opportunity]),
        "science_gained_orbit": orbit,
        "science_gained_class": colours,
    }
    order = np.lexsort((bodies, -np.maximum(orbit, colours)))
    return _typed(columns).take(pa.array(order))


def _typed(columns: dict[str, Any]) -> pa.Table:
    texts = ("target", "name", "class")
    return pa.table(
        {name: pa.array(values, pa.string()) if name in texts else values for name, values in columns.items()}
    )


def _windows(study: Study, asked: Catalogue, before_jd_tdb: Floats) -> dict[str, Floats]:
    if not len(asked):
        return windows(study, Sky(np.zeros(1), np.zeros((0, 1)), np.zeros((0, 1))), before_jd_tdb)
    return windows(study, sky(asked, observing_dates(study, float(before_jd_tdb.max()))), before_jd_tdb)


def _sigmas_km(study: Study, asked: Catalogue, encounter_jd_tdb: Floats) -> Floats:
    return uncertainty_km(study, asked, encounter_jd_tdb) if len(asked) else np.zeros(0)
