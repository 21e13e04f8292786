"""Fronts and bounds of several motherships joined, beside the plainest way to say what they must be."""

import itertools

import numpy as np
import pyarrow as pa
from hypothesis import given, settings
from hypothesis import strategies as st

from swarm.app.carriers.joining import OfCarrier, joined_bound, joined_front


def front_of(values):
    plans = pa.array(np.arange(len(values)), pa.int64())
    science, kilograms, risk = (pa.array([float(v[k]) for v in values]) for k in range(3))
    return pa.table({"plan": plans, "science": science, "propellant_kg": kilograms, "risk": risk})


def bound_of(levels, upper):
    kilograms = np.cumsum(levels)
    return pa.table(
        {
            "probes": np.full(len(kilograms), 3),
            "propellant_kg": kilograms,
            "science_upper": np.sort(upper),
            "science_best": np.zeros(len(kilograms)),
        }
    )


def members(front, opportunity):
    n = front.num_rows
    return pa.table(
        {
            "plan": front["plan"],
            "probe": pa.array(np.zeros(n), pa.int64()),
            "opportunity": pa.array(np.full(n, opportunity), pa.int64()),
        }
    )


# eighths: their sums with the kilograms below are exact, so that equal plans are equal
few = st.integers(0, 8).map(lambda k: k / 8.0)
fronts = st.lists(st.tuples(few, few, few), min_size=1, max_size=8)
bounds = st.integers(1, 5).flatmap(
    lambda n: st.tuples(
        st.lists(st.integers(1, 8).map(lambda k: k / 4.0), min_size=n, max_size=n),
        st.lists(st.floats(0.0, 1.0), min_size=n, max_size=n),
    )
)
ships = st.lists(st.tuples(fronts, bounds, st.sampled_from([0.0, 0.5, 1.25])), min_size=1, max_size=4)


def made(drawn):
    flown = []
    for number, (values, (levels, upper), kilograms) in enumerate(drawn):
        front = front_of(values)
        flown.append(
            OfCarrier(
                number,
                front,
                members(front, 100 + number),
                bound_of(levels, np.array(upper)),
                kilograms,
                kilograms,
            )
        )
    return flown


def beats(one, other):
    """Whether a plan is at least as good in science, propellant and risk, and better in one."""
    a, b = (np.array([-v[0], v[1], v[2]]) for v in (one, other))
    return bool((a <= b).all() and (a < b).any())


@settings(max_examples=150, deadline=None)
@given(ships)
def test_no_joined_plan_is_beaten_and_none_is_lost(drawn):
    flown = made(drawn)
    every = [
        (each.number, plan, (v[0], v[1] + each.charged_kg, v[2]))
        for each, (values, _, _) in zip(flown, drawn, strict=True)
        for plan, v in enumerate(values)
    ]
    front, plans = joined_front(flown)
    kept = {(row["carrier"], row["plan_of_carrier"]) for row in front.to_pylist()}
    values = {(number, plan): v for number, plan, v in every}
    for key in kept:
        assert not any(beats(v, values[key]) for _, _, v in every)
    for number, plan, v in every:
        if (number, plan) not in kept:
            assert any(beats(values[key], v) or values[key] == v for key in kept)
    by_plan = {row["plan"]: row for row in front.to_pylist()}
    for row in plans.to_pylist():
        # the probes of each plan are those of its own mothership
        assert row["carrier"] == by_plan[row["plan"]]["carrier"] == row["opportunity"] - 100


def within(bound, charged, kilograms):
    """What a mothership's bound says of plans within so many kilograms: that of the next level."""
    levels = bound["propellant_kg"].to_numpy() + charged
    return bound["science_upper"].to_numpy()[np.flatnonzero(levels >= kilograms)[0]]


@settings(max_examples=150, deadline=None)
@given(ships)
def test_the_joined_bound_is_at_every_level_the_largest_of_the_single_ones(drawn):
    flown = made(drawn)
    front, _ = joined_front(flown)
    joined = joined_bound(flown, front)
    last = min(each.bound["propellant_kg"].to_numpy()[-1] + each.charged_kg for each in flown)
    levels = joined["propellant_kg"].to_numpy()
    assert levels[-1] == last
    between = [0.5 * (a + b) for a, b in itertools.pairwise(levels)]
    for kilograms in (*levels, *between):
        said = joined["science_upper"].to_numpy()[np.flatnonzero(levels >= kilograms)[0]]
        assert said == max(within(each.bound, each.charged_kg, kilograms) for each in flown)
