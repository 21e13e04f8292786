"""Burns that are proposed, screened exactly, beside a grid of burns screened exactly: 200 bodies, one date."""

import itertools

import numpy as np
import pytest

from swarm.app.carriers.listed import listed
from swarm.app.carriers.retarget import proposed
from swarm.reach.opportunities import screen_together
from swarm.run.workers import Pool
from swarm.study.schema import read_study
from swarm.study.sections.choices import ShipBurn
from targets.catalogue.reading import read_catalogue
from tests.helpers.carrier_studies import few_bodies

BUDGET_M_S = 400.0
# The method was chosen on seeds 1, 3 and 4; 11 to 20 were looked at when it was there, and one of them (15: 79 % by the
# map alone) made the exact looks be added; 32 to 34 after that. Of 31 no burn of the grid gains more than 0.06.
SEEDS = [1, 3, 4, *range(11, 21), 32, 33, 34]


def exact_worth(study, screening):
    """What is in reach: a target counts 1, half of it lost evenly up to the burn limit."""
    table = screening.opportunities
    if not table.num_rows:
        return 0.0
    least = {}
    for body, burn in zip(table["target_index"].to_pylist(), table["burn_m_s"].to_pylist(), strict=True):
        least[body] = min(least.get(body, np.inf), burn)
    return sum(1.0 - 0.5 * burn / study.probe.burn_limit_m_s for burn in least.values())


def with_burn(study, date, burn):
    """The study with one burn of the mothership, m/s."""
    entry = ShipBurn(date=date, x_m_s=burn[0], y_m_s=burn[1], z_m_s=burn[2])
    return study.with_keys("mothership", burns=(entry,))


def gains(folder, seed, *, steps):
    """What a grid of burns gains at most, and what the burns proposed gain at most, all screened exactly."""
    path = few_bodies(folder, seed=seed, budget_m_s=BUDGET_M_S)
    (carrier, *_), _ = listed(path)
    study, asked = carrier.study, read_study(path).mothership.retarget
    catalogue = read_catalogue(study.catalogue, study.base).catalogue

    def worths(studies):
        screens = screen_together(studies, catalogue, pool=Pool())
        return [exact_worth(own, found) for own, found in zip(studies, screens, strict=True)]

    axis = np.linspace(-BUDGET_M_S, BUDGET_M_S, steps)
    grid = [burn for burn in itertools.product(axis, axis, axis) if 0.0 < np.linalg.norm(burn) <= BUDGET_M_S]
    none = worths([study])[0]
    by_force = max(worths([with_burn(study, asked.dates[0], burn) for burn in grid])) - none
    offered, _ = proposed(carrier, asked, None, catalogue, pool=Pool(), first=1)
    assert 0 < len(offered) <= 40
    assert all(each.burn_m_s <= BUDGET_M_S for each in offered)
    return by_force, max(worths([each.study for each in offered])) - none


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_proposals_find_nearly_all_that_a_grid_of_burns_finds(tmp_path, seed):
    by_force, found = gains(tmp_path, seed, steps=5)
    assert by_force > 0.4, "the burns of this case gain next to nothing: the test would say nothing"
    assert found >= 0.95 * by_force, f"found {found:.3f}, grid {by_force:.3f}"
