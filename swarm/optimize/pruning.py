"""Opportunities that no plan needs, because others are at least as good in every way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.plan.data import PlanData
from swarm.plan.question import Posed
from swarm.plan.rules import PlanRules

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# With more opportunities than this only those are tried that fewer targets of their slot beat than _DEPTH.
_MANY, _DEPTH = 4000, 4


def with_candidates(data: PlanData, rules: PlanRules) -> PlanRules:
    """Return the rules with fewer opportunities to try where there are very many; heuristic, unlike the bound."""
    if len(data.target) <= _MANY:
        return rules
    everything = np.arange(len(data.target), dtype=np.int64)
    chances = data.hardware[:, None] * row_chances_given_hardware(data)
    useful = everything[chances.max(axis=1) > 0.0]
    return rules._replace(candidates=useful[unpruned(data, rules, chances, useful, depth=_DEPTH)])


def searchable(posed: Posed) -> Posed:
    """The question with the opportunities that a search tries."""
    return replace(posed, rules=with_candidates(posed.data, posed.rules))


def unpruned(data: PlanData, rules: PlanRules, chances: Floats, columns: Ints, *, depth: int) -> Bools:
    """Mask those of `columns` that a best plan of at most `depth` probes may need, with no rule about encounters.

    In its release slot an opportunity is useless if one of the same target, or ones of `depth` targets, are
    at least as good in every chance and no dearer: the other probes of a plan can block one target each, and
    the same release keeps every distance between releases. What is as good must be of the same design and approach,
    whose numbers are limited, take no more of the limits of protected bodies, and be heard live at no other time.

    chances : (n, terms) of every opportunity; more of each is better
    """
    return _unpruned(
        np.ascontiguousarray(np.column_stack([chances, data.hardware, *_sides(rules)])[columns]),
        data.propellant_kg[columns],
        rules.release_jd_tdb[columns],
        data.target[columns],
        depth,
    )


def _sides(rules: PlanRules) -> list[Floats]:
    """What else must be matched, more being better: nothing where there is one design and nothing else is limited."""
    design = rules.design.astype(np.float64)
    # equal in both directions
    designs = [design, -design] if rules.design_most.size > 1 else []
    approach = rules.approach.astype(np.float64)
    approaches = [approach, -approach] if rules.approach_most.size else []
    begin, end = rules.live.T
    # within the other's interval, or not heard live at all
    live = (
        [np.where(np.isnan(begin), np.inf, begin), np.where(np.isnan(end), np.inf, -end)]
        if rules.channels
        else []
    )
    return [*designs, *approaches, *live, *(-parts.astype(np.float64) for parts in rules.shares)]


def row_chances_given_hardware(data: PlanData) -> Floats:
    """P(row satisfied | hardware works) of each opportunity, (n, r)."""
    owner = np.repeat(np.arange(len(data.target)), np.diff(data.merged_start))
    chances = np.zeros((len(data.target), len(data.weight)))
    np.add.at(chances, owner, data.merged_chance[:, None] * data.row_sets[data.merged_set])
    return chances


@njit(cache=True)
def _unpruned(terms: Floats, kilograms: Floats, release_jd_tdb: Floats, target: Ints, depth: int) -> NDArray:
    order = np.argsort(release_jd_tdb, kind="mergesort")
    kept = np.ones(kilograms.size, dtype=np.bool_)
    seen = np.empty(depth, dtype=np.int64)
    first = 0
    while first < order.size:
        last = first
        while last < order.size and release_jd_tdb[order[last]] == release_jd_tdb[order[first]]:
            last += 1
        for i in range(first, last):
            a, others = order[i], 0
            for j in range(first, last):
                b = order[j]
                if b == a or not _at_least_as_good(b, a, terms, kilograms):
                    continue
                if target[b] == target[a]:
                    others = depth
                else:
                    known = False
                    for k in range(others):
                        known |= seen[k] == target[b]
                    if not known:
                        seen[others] = target[b]
                        others += 1
                if others >= depth:
                    kept[a] = False
                    break
        first = last
    return kept


@njit(cache=True)
def _at_least_as_good(b: int, a: int, terms: Floats, kilograms: Floats) -> bool:
    """Whether b matches or beats a in everything; of two equals only the earlier beats the other."""
    if kilograms[b] > kilograms[a]:
        return False
    equal = kilograms[b] == kilograms[a]
    for t in range(terms.shape[1]):
        if terms[b, t] < terms[a, t]:
            return False
        equal &= terms[b, t] == terms[a, t]
    return b < a if equal else True
