"""What is left to decide after a plan is chosen: alternates of each probe, and re-assignment after a dead check-out.

Until its burn a probe can be sent elsewhere: all are alike and leave with the same propellant. So each has a last
date to decide and a list of other targets that keep every rule beside the rest of the plan. And a probe found dead
at its check-out leaves targets to those still aboard, which may then all be given new ones.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pyarrow as pa
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.propellant import usable_kg
from swarm.optimize.pricing import fill_prices, new_prices, spared
from swarm.optimize.pruning import searchable
from swarm.optimize.short import count_sets, every_set
from swarm.plan.constraints import UNUSED
from swarm.plan.data import Chances, PlanData, column, steering_kg
from swarm.plan.flight import Flight
from swarm.plan.objectives import count_state, evaluate, expected_science, new_counts
from swarm.plan.question import Posed, Question, pose
from swarm.plan.rules import PlanRules, feasible, fits
from swarm.plan.survival import group_failures, own_chances, state_chance
from swarm.run.workers import Pool
from swarm.study.by_design import probe_values
from targets.base.timescale import iso_tdb
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# First number of this stage's random streams, so that no other stage draws the same.
STREAM = 6
ALTERNATES_LISTED = 10
# With no more sets of opportunities than this, every re-assignment is evaluated.
EXACT_SETS = 20_000
# Alternates are priced first; so many of the best-priced targets are then evaluated exactly.
_SHORTLIST = 1_000
# Improvements of a re-assignment, each from the plan with some of its open places emptied; and passes over them.
_STARTS, _SWEEPS = 24, 8
_GAIN_MIN = 1e-12
_TANK_ROUNDING_KG = 1e-9


@dataclass(frozen=True)
class Recourse:
    """What each probe of a plan leaves to decide.

    probes     : a row a probe: plan, probe, target, opportunity, burn_by_jd_tdb (last date to decide on its planned
                 encounter), decide_by_jd_tdb (last date of any use), alternates (other targets in
                 reach), science (of the plan), science_without (expected where this probe was found dead),
                 science_reassigned (then with those still aboard sent where they are worth most)
    alternates : a row one of the best alternates: plan, probe, rank, target, opportunity, release_jd_tdb,
                 encounter_jd_tdb, burn_m_s, propellant_kg, science (of the plan with this change)
    """

    probes: pa.Table
    alternates: pa.Table


def recourse(
    study: Study,
    opportunities: pa.Table,
    targets: Catalogue,
    plan: Ints,
    *,
    number: int = 0,
    judged: Chances,
    mothership: pa.Table | None,
    exact_sets: int = EXACT_SETS,
    pool: Pool | None = None,
) -> Recourse:
    """Look at every probe of a plan in order of release.

    An alternate is an opportunity of another target, released no earlier than the probe is in the plan, that keeps
    every rule beside the other probes as planned, needs no more propellant than every probe carries, and has a
    chance to satisfy some row. The last date to decide is the latest burn of the probe's own opportunity, of an
    alternate, or of another opportunity of its own target. A dead probe is found at release + check-out: it has
    been released, so spacing and rate of releases still count it; its target is free, and it needs no relay and no
    tracking. The chances of the shared failures are those given that it is dead; nothing else is taken as known
    of the others. All probes released later may be given any opportunity released after that date; those
    released before keep theirs.

    Parameters
    ----------
    plan       : (probes,) rows of `opportunities` in order of release, -1 unused
    number     : of the plan, for the tables
    mothership : the mothership's path, as `swarm.optimize.search.optimize` needs it
    exact_sets : with no more sets to choose from than this, every re-assignment is evaluated
    pool       : looks at the probes side by side; this process unless given

    Guarantee
    ---------
    science_without <= science_reassigned; with at most `exact_sets` sets nothing is better. Tested in
    tests/decide/recourse/test_against_enumeration.py.
    """
    pool = pool or Pool()
    flight = None if mothership is None else Flight(opportunities, mothership)
    flown = np.asarray(plan, dtype=np.int64)
    flown = flown[flown >= 0]
    question = Question(study, opportunities, targets, judged, flight, max(len(flown), 1))
    mask = question.allowed().mask
    mask[flown] = True  # a plan that was found is kept, whatever is asked of it now
    posed = searchable(pose(question, mask))
    case = _Case(study, posed, np.searchsorted(posed.rows, flown), exact_sets)
    looked_at = pool.map(_looked_at, list(range(len(flown))), shared=case)
    alternates, lost = [each for each, _ in looked_at], [each for _, each in looked_at]
    return Recourse(
        _probes_table(case, alternates, lost, number), _alternates_table(case, alternates, number)
    )


class _Case(NamedTuple):
    study: Study
    posed: Posed
    plan: Ints  # (probes,) rows of the posed table, all used
    exact_sets: int

    @property
    def in_tanks(self) -> Bools:
        """(n,) opportunities that some row may gain from and that every probe has the propellant for."""
        data = self.posed.data
        kilograms = usable_kg(self.study, self.posed.table) + _TANK_ROUNDING_KG
        if self.study.mothership.counts:
            kilograms = kilograms + steering_kg(self.posed.table)  # of another tank
        worth = (np.diff(data.merged_start) > 0) & (data.hardware > 0.0)
        return worth & (data.propellant_kg <= kilograms)


def _looked_at(place: int, case: _Case) -> tuple[_Alternates, _Lost]:
    """A task: what one probe of the plan leaves to decide."""
    return _alternates(case, place), _after_dead(case, place)


# --- alternates ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Alternates:
    """Of one probe: the best opportunity of each other target, best first, and what the plan is then worth."""

    decide_by_jd_tdb: float
    count: int  # other targets in reach
    opportunity: Ints  # the listed ones
    science: Floats


def _alternates(case: _Case, place: int) -> _Alternates:
    data, rules = case.posed.data, case.posed.rules
    own = int(case.plan[place])
    rest = np.delete(case.plan, place)
    ahead = case.in_tanks & (rules.release_jd_tdb >= rules.release_jd_tdb[own])
    open_rows = np.flatnonzero(ahead)
    open_rows = open_rows[_fitting(open_rows, rest, rules)]
    burns = column(case.posed.table, "burn_jd_tdb")
    last = float(max(burns[own], burns[open_rows].max(initial=-np.inf)))
    others = open_rows[data.target[open_rows] != data.target[own]]
    shortlist = _best_priced(others, rest, data, rules)
    plans = np.tile(case.plan, (len(shortlist), 1))
    plans[:, place] = shortlist
    science = evaluate(plans, data)[:, 0] if len(plans) else np.zeros(0)
    order = np.lexsort((shortlist, data.propellant_kg[shortlist], -np.round(science, 12)))
    order = order[_first_of_each(data.target[shortlist[order]])][:ALTERNATES_LISTED]
    count = len(np.unique(data.target[others]))
    return _Alternates(last, count, shortlist[order], science[order])


@njit(cache=True)
def _fitting(rows: Ints, plan: Ints, rules: PlanRules) -> NDArray:
    """Mask those of `rows` that can join a plan."""
    kept = np.empty(rows.size, dtype=np.bool_)
    for k in range(rows.size):
        kept[k] = fits(rows[k], plan, rules)
    return kept


def _best_priced(rows: Ints, plan: Ints, data: PlanData, rules: PlanRules) -> Ints:
    """All of `rows`, or where they are many those that look best beside the plan (prices: `optimize.pricing`)."""
    if len(rows) <= _SHORTLIST:
        return rows
    prices = new_prices(data, rules.kinds)
    fill_prices(plan, data, rules.kinds, prices)
    owner = np.repeat(np.arange(len(data.target)), np.diff(data.merged_start))
    each = data.merged_chance * prices.science[rules.kind[owner], data.merged_set]
    gain = data.hardware * np.bincount(owner, weights=each, minlength=len(data.target))
    order = rows[np.lexsort((rows, data.propellant_kg[rows], -np.round(gain[rows], 12)))]
    best = order[_first_of_each(data.target[order])]
    return best[:_SHORTLIST]


def _first_of_each(values: Ints) -> Ints:
    """Return where each value stands first, in that order."""
    return np.sort(np.unique(values, return_index=True)[1])


# --- a dead check-out ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Lost:
    """Of one probe found dead: expected science of the plan as it goes on, and with others re-assigned."""

    without: float
    reassigned: float


def _after_dead(case: _Case, place: int) -> _Lost:
    study, posed, plan = case.study, case.posed, case.plan
    data, rules = _as_ghost(int(plan[place]), posed.data, posed.rules)
    without = _science_given_dead(plan, place, data)
    checkout_days = probe_values(study, posed.table, "checkout_days")[plan[place]]
    found_jd = rules.release_jd_tdb[plan[place]] + checkout_days
    places = np.flatnonzero(rules.release_jd_tdb[plan] > found_jd)
    if not len(places):
        return _Lost(without, without)
    usable = case.in_tanks
    usable[plan] = True  # its own opportunity stays open to a probe
    rows = np.flatnonzero(usable & (rules.release_jd_tdb > found_jd))
    if count_sets(len(rows), len(places), rules) <= case.exact_sets:
        best = _best_of_all(plan, place, places=places, rows=rows, data=data, rules=rules)
    else:
        starts = _starts(study, plan, place, places)
        best = max(_improved(start, place, order, rows, data, rules) for start, order in starts)
    return _Lost(without, max(best, without))


def _as_ghost(o: int, data: PlanData, rules: PlanRules) -> tuple[PlanData, PlanRules]:
    """Let `o` stand for a dead probe: released, but at no target, without relay and tracking, never apart."""
    target, relayed = rules.target.copy(), rules.relayed.copy()
    hours, encounter_s = rules.week_hours.copy(), rules.offsets.encounter_s.copy()
    target[o], relayed[o], hours[o] = -1, False, 0.0
    if len(encounter_s):
        encounter_s[o] = -np.inf
    return data._replace(target=target), rules._replace(
        target=target,
        relayed=relayed,
        week_hours=hours,
        offsets=rules.offsets._replace(encounter_s=encounter_s),
    )


def _best_of_all(
    plan: Ints, dead: int, *, places: Ints, rows: Ints, data: PlanData, rules: PlanRules
) -> float:
    """Most expected science of every re-assignment."""
    sets = list(every_set(rows.tolist(), len(places), rules))
    plans = np.tile(plan, (len(sets), 1))
    plans[:, places] = [[*chosen, *[UNUSED] * (len(places) - len(chosen))] for chosen in sets]
    plans = plans[feasible(plans, rules)]
    return max((_science_given_dead(one, dead, data) for one in plans), default=-np.inf)


def _starts(study: Study, plan: Ints, dead: int, places: Ints) -> Iterator[tuple[Ints, Ints]]:
    """The plan as it is, then with open places emptied at random; each with an order to look at the places in."""
    yield plan.copy(), places
    sequence = np.random.SeedSequence(study.study.seed, spawn_key=(STREAM, dead))
    rng = np.random.Generator(np.random.PCG64(sequence))
    for _ in range(_STARTS - 1):
        start = plan.copy()
        start[places[rng.random(len(places)) < rng.random()]] = UNUSED
        yield start, rng.permutation(places)


@njit(cache=True)
def _improved(plan: Ints, dead: int, order: Ints, rows: Ints, data: PlanData, rules: PlanRules) -> float:
    """Give one open place after the other what adds most, until nothing does; return the science reached."""
    value = _science_given_dead(plan, dead, data)
    gains = np.empty((rules.kinds.size, data.row_sets.shape[0]))
    for _ in range(_SWEEPS):
        changed = False
        for place in order:
            before = plan[place]
            plan[place] = UNUSED
            _fill_gains(plan, dead, data, rules.kinds, gains)
            plan[place] = _best_addition(plan, rows, gains, data, rules)
            if plan[place] == before:
                continue
            worth = _science_given_dead(plan, dead, data)
            if worth <= value + _GAIN_MIN:
                plan[place] = before
                continue
            value = worth
            changed = True
        if not changed:
            break
    return value


@njit(cache=True)
def _best_addition(plan: Ints, rows: Ints, gains: Floats, data: PlanData, rules: PlanRules) -> int:
    best, most = UNUSED, 0.0
    for o in rows:
        worth = 0.0
        for e in range(data.merged_start[o], data.merged_start[o + 1]):
            worth += data.merged_chance[e] * gains[rules.kind[o], data.merged_set[e]]
        worth *= data.hardware[o]
        if worth > most and fits(o, plan, rules):
            best, most = o, worth
    return best


# --- expectation given a dead probe -------------------------------------------------------------------------


@njit(cache=True)
def _states_given_dead(plan: Ints, dead: int, common: Floats, own: Floats, data: PlanData) -> Floats:
    """P(state of the shared-failure groups | the probe of place `dead` has failed), by Bayes' rule.

    A group of its own that failed explains it for sure; else it failed by itself. Where it cannot fail at all,
    the chances as they were.
    """
    chances = np.empty(1 << common.size)
    failed = 0.0
    for state in range(chances.size):
        chances[state] = state_chance(state, common)
        if not data.group_mask[plan[dead]] & state:
            chances[state] *= 1.0 - own[dead]
        failed += chances[state]
    if failed <= 0.0:
        for state in range(chances.size):
            chances[state] = state_chance(state, common)
        return chances
    return chances / failed


@njit(cache=True)
def _science_given_dead(plan: Ints, dead: int, data: PlanData) -> float:
    """Expected science of a plan, the probe of place `dead` known to have failed."""
    rows, joint = new_counts(data)
    common = group_failures(plan, data.hardware, data.group_mask, data.group_fraction)
    own = own_chances(plan, data.hardware, data.group_mask, common)
    chances = _states_given_dead(plan, dead, common, own, data)
    own[dead] = 0.0
    science = 0.0
    for state in range(chances.size):
        if chances[state] > 0.0:
            count_state(plan, state, own, data, rows, joint)
            science += chances[state] * expected_science(rows, data)
    return science


@njit(cache=True)
def _fill_gains(plan: Ints, dead: int, data: PlanData, kinds: Ints, gains: Floats) -> None:
    """What one more probe adds, per kind and set of rows, per unit of its hardware chance and the set's chance.

    As the prices of `swarm.optimize.pricing`, but given the dead probe; the same things are ignored.
    """
    rows, joint = new_counts(data)
    common = group_failures(plan, data.hardware, data.group_mask, data.group_fraction)
    own = own_chances(plan, data.hardware, data.group_mask, common)
    chances = _states_given_dead(plan, dead, common, own, data)
    own[dead] = 0.0
    gains[:] = 0.0
    for state in range(chances.size):
        if chances[state] <= 0.0:
            continue
        count_state(plan, state, own, data, rows, joint)
        for m in range(gains.shape[1]):
            added = 0.0
            for r in range(rows.shape[0]):
                if data.row_sets[m, r]:
                    for c in range(min(data.baseline[r], data.count_cap[r])):
                        added += data.weight[r] / data.baseline[r] * rows[r, c]
            for q in range(kinds.size):
                if not kinds[q] & state:
                    gains[q, m] += chances[state] * added / spared(kinds[q], common)


# --- tables -------------------------------------------------------------------------------------------------


def _probes_table(case: _Case, alternates: list[_Alternates], lost: list[_Lost], number: int) -> pa.Table:
    table, n = case.posed.table, len(case.plan)
    science = float(evaluate(case.plan[None, :], case.posed.data)[0, 0]) if n else 0.0
    return pa.table(
        {
            "plan": np.full(n, number, dtype=np.int64),
            "probe": np.arange(n, dtype=np.int64),
            "target": pa.array([table["target"][int(o)].as_py() for o in case.plan], pa.string()),
            "opportunity": column(table, "opportunity").astype(np.int64)[case.plan],
            "burn_by_jd_tdb": column(table, "burn_jd_tdb").astype(np.float64)[case.plan],
            "decide_by_jd_tdb": pa.array([one.decide_by_jd_tdb for one in alternates], pa.float64()),
            "alternates": pa.array([one.count for one in alternates], pa.int64()),
            "science": np.full(n, science),
            "science_without": pa.array([one.without for one in lost], pa.float64()),
            "science_reassigned": pa.array([one.reassigned for one in lost], pa.float64()),
        }
    )


def _alternates_table(case: _Case, alternates: list[_Alternates], number: int) -> pa.Table:
    table = case.posed.table
    lengths = [len(one.opportunity) for one in alternates]
    chosen = np.concatenate([np.zeros(0, dtype=np.int64), *(one.opportunity for one in alternates)])
    return pa.table(
        {
            "plan": np.full(len(chosen), number, dtype=np.int64),
            "probe": np.repeat(np.arange(len(lengths)), lengths).astype(np.int64),
            "rank": pa.array([rank for length in lengths for rank in range(length)], pa.int64()),
            "target": pa.array([table["target"][int(o)].as_py() for o in chosen], pa.string()),
            "opportunity": column(table, "opportunity").astype(np.int64)[chosen],
            **{
                name: column(table, name).astype(np.float64)[chosen]
                for name in ("release_jd_tdb", "encounter_jd_tdb", "burn_m_s")
            },
            "propellant_kg": case.posed.data.propellant_kg[chosen],
            "science": np.concatenate([np.zeros(0), *(one.science for one in alternates)]),
        }
    )


# --- said in lines ------------------------------------------------------------------------------------------


def recourse_lines(table: pa.Table) -> list[str]:
    """What the table of probes says, in a few lines for people."""
    if not table.num_rows:
        return ["the plan flies no probe: nothing to decide later"]
    rows = table.to_pylist()
    loss = np.array([row["science"] - row["science_without"] for row in rows])
    back = np.array([row["science_reassigned"] - row["science_without"] for row in rows])
    worst, few = rows[int(np.argmax(loss - back))], rows[int(np.argmin(column(table, "alternates")))]
    first = min(rows, key=_burn_by)
    return [
        f"a probe found dead at check-out costs {loss.mean():.3f} of science on average; re-assigning those still "
        f"aboard wins back {back.mean():.3f}",
        f"worst: probe {worst['probe']} ({worst['target']}), {worst['science']:.3f} -> "
        f"{worst['science_without']:.3f}, re-assigned {worst['science_reassigned']:.3f}",
        f"fewest alternates: probe {few['probe']} ({few['target']}), {few['alternates']} other targets in reach",
        f"first decision: whether probe {first['probe']} flies to {first['target']}, by its burn on "
        f"{iso_tdb(first['burn_by_jd_tdb'])[:10]} TDB; some use is left for it until "
        f"{iso_tdb(first['decide_by_jd_tdb'])[:10]} TDB",
    ]


def _burn_by(row: dict) -> tuple[float, int]:
    return row["burn_by_jd_tdb"], row["probe"]
