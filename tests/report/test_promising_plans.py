"""Which plans of a large front are drawn large; by hand."""

import numpy as np

from swarm.report.figures import FEW_PLANS, promising_plans


def test_a_front_of_few_plans_stands_out_whole():
    assert promising_plans(np.ones(FEW_PLANS), np.zeros(FEW_PLANS)).all()


def test_only_plans_stand_out_that_none_beats_for_less():
    """A diagonal of plans, and as many that cost one more each for the same science."""
    n = 200
    cost = np.concatenate([np.arange(n), np.arange(n) + 1.0])
    science = np.concatenate([np.arange(n), np.arange(n)]).astype(float)
    found = promising_plans(cost, science)
    assert not found[n:].any()
    # the science spans 199, a fiftieth is 3.98: of steps of one every fourth stands out
    assert np.flatnonzero(found[:n]).tolist() == list(range(0, 200, 4))


def test_the_order_of_the_rows_makes_no_difference():
    rng = np.random.default_rng(3)
    cost, science = rng.random(1000), rng.random(1000)
    order = rng.permutation(1000)
    assert (promising_plans(cost, science)[order] == promising_plans(cost[order], science[order])).all()
