"""What meets a moon again after its pass: samples that stay or leave."""

import numpy as np
import pytest

from swarm.refine.bound_after import follow_after
from swarm.refine.passes_dispersed import bound_said
from swarm.study.study_file import read_study
from targets.masses.massive import mass_named
from targets.masses.where import Ephemeris
from tests.helpers.skimming import demonstration, screening_of, study_in

JUPITER = mass_named("Jupiter")


@pytest.fixture(scope="module")
def a_pass(tmp_path_factory):
    text = demonstration("sorrel", altitudes_km="[250]", release_days_before="[10]", clock_step_deg="180")
    study = read_study(study_in(tmp_path_factory.mktemp("bound"), text))
    study = study.with_keys("refine", bound_samples=6).with_keys("protection", bound_years=0.25)
    return study, screening_of(study).opportunities.to_pylist()[0]


def test_a_fast_mothership_leaves_nothing_behind(a_pass):
    """20.3 km/s at Europa's distance, where 19.4 escape from Jupiter (sqrt(2 GM/r)): nothing is bound."""
    study, row = a_pass
    found = follow_after(study, row, 100.0 * np.eye(2), Ephemeris())
    assert (found.samples, found.bound, found.hits) == (6, 0, 0)


def test_a_slow_one_is_followed_and_given_a_rate(a_pass):
    """The same pass with 3 km/s less at the burn: bound; counted, or on an orbit that crosses, with a rate."""
    study, row = a_pass
    ship = np.array([row[f"ship_v{axis}_km_s"] for axis in "xyz"])
    centre = Ephemeris().about_sun(JUPITER, np.array([row["burn_tdb_s"]]))[0, 3:]
    relative = ship - centre
    slow = centre + relative * (1.0 - 5.2 / np.linalg.norm(relative))
    row = row | {f"ship_v{axis}_km_s": float(v) for axis, v in zip("xyz", slow, strict=True)}
    found = follow_after(study, row, 100.0 * np.eye(2), Ephemeris())
    assert found.bound == 6
    assert found.hits + found.elsewhere + found.gone + len(found.rates) == 6
    assert found.interval[1] > 0.3
    assert (found.rates >= 0.0).all()


def test_a_limit_that_is_exceeded_as_followed_is_said(a_pass):
    """40 samples of which 10 hit: at least 0.127 (Clopper and Pearson 1934, from memory), more than was counted."""
    study, row = a_pass
    made = {
        "probe": 3, "target": "Europa", "bound": 40, "samples": 40, "years": 5.0, "hits": 10, "elsewhere": 0,
        "hit_chance_low": 0.127, "hit_chance_high": 0.41, "rate_per_year": float("nan"),
    }  # fmt: skip
    limit = study.protection.impact_chance_max["Europa"]
    (told,) = bound_said(study, made, {**row, "later_impact_chance": 0.5 * limit})
    assert (
        "as followed it hits more often than that, and the limit is exceeded: not to be flown as it is"
        in told
    )
    (told,) = bound_said(study, made, {**row, "later_impact_chance": 0.2})
    assert "exceeded" not in told
    assert f"Counted for it are 0.2 of the limit of {limit:.3g}" in told
    assert bound_said(study, made | {"bound": 0}, row) == []
