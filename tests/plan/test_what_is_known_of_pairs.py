"""Pairs that were looked at before: the same plans fit, whatever is known of them."""

import numpy as np
import pytest
from numba import njit

from swarm.plan.flight import Flight, come_near, least_distance_km
from swarm.plan.rules import fits, fits_as_met, new_met
from tests.helpers.flown_as_aimed import plan_data, plan_rules
from tests.helpers.small_cases import make_study, make_targets
from tests.plan.test_flight import PATH, random_table


@njit
def one_after_the_other(genes, rules, met):
    """Of each gene, whether it fits the genes before it that fitted, looked up and found anew."""
    looked_up, found = np.zeros(genes.shape, dtype=np.bool_), np.zeros(genes.shape, dtype=np.bool_)
    for i in range(genes.shape[0]):
        plan = np.full(genes.shape[1], -1)
        for j in range(genes.shape[1]):
            looked_up[i, j] = fits_as_met(genes[i, j], plan, rules, met)
            found[i, j] = fits(genes[i, j], plan, rules)
            if found[i, j]:
                plan[j] = genes[i, j]
    return looked_up, found


def test_what_is_looked_up_is_what_is_found():
    """40 opportunities in 3 000 plans of four: every pair is asked of many times, in both orders, and some meet."""
    table = random_table(40)
    study = make_study(constraints={"recontact_km": 3.0e5, "release_spacing_days": 0.0})
    data = plan_data(study, table, make_targets(["C"] * 40))
    rules = plan_rules(study, table, data, flight=Flight(table, PATH))
    genes = np.random.default_rng(5).integers(0, 40, size=(3000, 4))
    looked_up, found = one_after_the_other(genes, rules, new_met())
    assert (looked_up == found).all()
    apart = one_after_the_other(genes, rules._replace(recontact_km=0.0), new_met())[1]
    assert 0.1 * apart.sum() < found.sum() < 0.99 * apart.sum()


@pytest.mark.parametrize("limit_km", [1e3, 1e5, 3e5, 1e6, 1e7])
def test_what_comes_near_is_what_is_nearer_than_the_limit(limit_km):
    """Spans that are passed over hide nothing: every pair of 60 flights, over the whole flight and parts of it."""
    offsets = Flight(random_table(60), PATH).offsets
    rng, near = np.random.default_rng(3), 0
    for a in range(60):
        for b in range(a):
            low = max(offsets.burn_s[a], offsets.burn_s[b])
            high = min(offsets.encounter_s[a], offsets.encounter_s[b])
            low, high = (
                np.sort(rng.uniform(low, high, 2)) if high > low and rng.random() < 0.3 else (low, high)
            )
            plain = least_distance_km(a, b, low, high, offsets, limit_km) < limit_km
            assert come_near(a, b, low, high, offsets, limit_km) == plain
            near += plain
    assert 0 < near < 60 * 59 / 2
