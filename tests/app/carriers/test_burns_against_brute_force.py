"""What the linear map proposes, screened exactly, beside a grid of burns screened exactly: 200 bodies, one date."""

import itertools

import numpy as np
import pytest

from swarm.app.carriers.listed import Carrier, listed
from swarm.app.carriers.retarget import proposed
from swarm.reach.mothership.path import table_of_legs
from swarm.reach.opportunities import read_mothership, screen_together
from swarm.run.folder import Run
from swarm.run.workers import Pool
from swarm.study.schema import read_study
from swarm.study.sections.choices import ShipBurn
from targets.base.timescale import parse_tdb_jd
from targets.catalogue.reading import read_catalogue
from tests.helpers.carrier_studies import BURNS, written

# Soon after the start: rows whose arcs would span the burn are lost, so a late one has little to gain.
DATE, BUDGET_M_S, STEPS = "2031-03-03 TDB", 400.0, 5


def exact_worth(study, screening):
    """What is in reach: a target counts 1, half of it lost evenly up to the burn limit."""
    table = screening.opportunities
    if not table.num_rows:
        return 0.0
    least = {}
    for body, burn in zip(table["target_index"].to_pylist(), table["burn_m_s"].to_pylist(), strict=True):
        least[body] = min(least.get(body, np.inf), burn)
    return sum(1.0 - 0.5 * burn / study.probe.burn_limit_m_s for burn in least.values())


def with_burn(study, burn):
    """The study with one burn of the mothership, m/s."""
    entry = ShipBurn(date=parse_tdb_jd(DATE), x_m_s=burn[0], y_m_s=burn[1], z_m_s=burn[2])
    return study.with_keys("mothership", burns=(entry,))


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 3, 4])
def test_proposals_find_nearly_all_that_a_grid_of_burns_finds(tmp_path, seed):
    text = (
        BURNS.replace("40.0", str(BUDGET_M_S))
        .replace("2031-05-01 TDB", DATE)
        .replace("candidates = 2", "candidates = 40")
    )
    path = written(tmp_path, text)
    body = path.read_text(encoding="utf-8").replace("bodies = 2000", f"bodies = 200\nseed = {seed}")
    # every body counts the same here, as the brute force counts them; within a wider reach, so that there are some
    body = body.replace("burn_limit_m_s = 1200.0", "burn_limit_m_s = 2500.0")
    body = body.replace("slot_days = 60.0", "slot_days = 20.0")
    body = body.split("[[science.rows]]")[0] + '[[science.rows]]\nname = "any"\n' + text
    path.write_text(body, encoding="utf-8")
    (carrier, *_), _ = listed(path)
    assert isinstance(carrier, Carrier)
    study = carrier.study
    asked = read_study(path).mothership.retarget
    catalogue = read_catalogue(study.catalogue, study.base).catalogue
    run = Run.create(tmp_path / "run", path)
    run.write_table("mothership", table_of_legs(read_mothership(study).legs))

    def worths(studies):
        return [
            exact_worth(s, f)
            for s, f in zip(studies, screen_together(studies, catalogue, pool=Pool()), strict=True)
        ]

    axis = np.linspace(-BUDGET_M_S, BUDGET_M_S, STEPS)
    grid = [burn for burn in itertools.product(axis, axis, axis) if 0.0 < np.linalg.norm(burn) <= BUDGET_M_S]
    none = worths([study])[0]
    by_force = max(worths([with_burn(study, burn) for burn in grid])) - none
    offered = proposed(carrier, run, asked, catalogue, pool=Pool(), first=1)
    assert 0 < len(offered) <= 40

    by_map = max(worths([each.study for each in offered])) - none
    assert by_force > 0.5, "the burns of this case gain next to nothing: the test would say nothing"
    assert by_map >= 0.95 * by_force, f"map {by_map:.3f}, grid of {len(grid)} {by_force:.3f}"
