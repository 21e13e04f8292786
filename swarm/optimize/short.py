"""Few plans: every one of them; and a short search of fixed effort, from plans that are given and plans built anew."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from swarm.optimize.archive import Archive, costs_of, merged, thinned
from swarm.optimize.neighbours import explore
from swarm.optimize.seeds import seed_plans
from swarm.plan.data import PlanData
from swarm.plan.objectives import evaluate
from swarm.plan.question import Posed
from swarm.plan.rules import PlanRules, decode

Ints = NDArray[np.int64]

# With no more plans than this every one is evaluated: the front is then exact, and faster than a search.
EXACT_PLANS = 50_000
# Plans whose exchanges are looked at in a round, and exchanges noted.
_PLANS, _FINDS = 150, 20_000


def archive_of(plans: Ints, data: PlanData) -> Archive:
    """Plans with what they come to."""
    return Archive(plans, costs_of(evaluate(plans, data)))


def count_sets(opportunities: int, places: int, rules: PlanRules) -> int:
    """Sets of at most `places` opportunities, feasible or not; with repetition where targets may be shared."""
    if rules.per_target > 1:
        return sum(math.comb(opportunities + k - 1, k) for k in range(1, places + 1)) + 1
    return sum(math.comb(opportunities, k) for k in range(places + 1))


def every_set(opportunities: Sequence[int], places: int, rules: PlanRules) -> Iterator[tuple[int, ...]]:
    """The sets that `count_sets` counts, the empty one first."""
    choose = itertools.combinations_with_replacement if rules.per_target > 1 else itertools.combinations
    return itertools.chain.from_iterable(choose(opportunities, k) for k in range(places + 1))


def short_search(posed: Posed, starts: Ints, *, rounds: int) -> Archive:
    """The front after some rounds of looking at every exchange; starts are repaired where they must be.

    starts : (n, probes) rows of the posed table, -1 unused
    """
    data, rules = posed.data, posed.rules
    plans = decode(np.ascontiguousarray(starts), rules)
    front = merged([archive_of(plans, data), seed_plans(data, rules)])
    for _ in range(rounds):
        better, _ = explore(thinned(front, _PLANS).plans, front.costs, data, rules, room=_FINDS)
        front = merged([front, better])
    return front
