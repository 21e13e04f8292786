"""What meets a moon again after its pass: Opik's rate against counted passages, and samples that stay or leave."""

import numpy as np
import pytest

from swarm.reach.arcs.bplane import impact_parameter_km
from swarm.refine.bound_after import follow_after, opik_rate
from swarm.study.study_file import read_study
from targets.base.constants import JULIAN_YEAR_S
from targets.masses.massive import mass_named
from targets.masses.where import Ephemeris
from tests.helpers.skimming import demonstration, screening_of, study_in

EUROPA, JUPITER = mass_named("Europa"), mass_named("Jupiter")


def test_opiks_rate_is_that_of_random_nodes():
    """Orbits with any node, periapsis and phase: the share that passes within a large disc, counted, 5 %.

    Straight lines relative to the moon at each crossing of its distance, drawn in its plane's frame: nothing of the
    formula but that an orbit crosses the moon's sphere at a right place. Source of the law: Opik 1951, sec. 2.
    """
    rng = np.random.default_rng(4)
    a_moon, mu, ratio, e, inclination = EUROPA.distance_km, JUPITER.gm_km3_s2, 1.6, 0.6, 0.5
    # a moon a hundred times as large as it is would still be a thin disc: the count converges, gravity of it off
    n, tau = 4_000_000, 0.02
    parameter = ratio * (1.0 - e * e)
    radius = a_moon
    cos_true = (parameter * a_moon / radius - 1.0) / e
    true = np.arccos(cos_true)
    argp = rng.uniform(0.0, 2.0 * np.pi, n)
    # of a revolution both crossings count; latitude of each, and the moon at a random longitude of its circle
    counted = 0
    for sign in (1.0, -1.0):
        u = argp + sign * true
        place = np.column_stack([np.cos(u), np.sin(u) * np.cos(inclination), np.sin(u) * np.sin(inclination)])
        along = np.column_stack(
            [-np.sin(u), np.cos(u) * np.cos(inclination), np.cos(u) * np.sin(inclination)]
        )
        radial, across = sign * np.sqrt(1.0 / parameter) * e * np.sin(true), np.sqrt(parameter)
        velocity = radial * place + across * along
        angle = rng.uniform(0.0, 2.0 * np.pi, n)
        moon = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(n)])
        going = np.column_stack([-np.sin(angle), np.cos(angle), np.zeros(n)])
        off, relative = place - moon, velocity - going
        near = np.linalg.norm(off, axis=1) < 0.3
        off, relative = off[near], relative[near]
        speed = np.linalg.norm(relative, axis=1)
        miss = off - (np.einsum("ij,ij->i", off, relative) / speed**2)[:, None] * relative
        counted += int((np.linalg.norm(miss, axis=1) < tau).sum())
    a_km = ratio * a_moon
    revolutions = JULIAN_YEAR_S / (2.0 * np.pi * np.sqrt(a_km**3 / mu))
    # the formula with this tau: divide its own disc out
    rate = opik_rate(ratio, parameter, np.cos(inclination), a_moon, EUROPA, mu)
    speed_km_s = np.sqrt(mu / a_moon) * np.sqrt(
        3.0 - 1.0 / ratio - 2.0 * np.sqrt(parameter) * np.cos(inclination)
    )
    own_tau = float(impact_parameter_km(EUROPA.radius_km, speed_km_s, mu_km3_s2=EUROPA.gm_km3_s2)) / a_moon
    assert counted / n == pytest.approx(rate / revolutions * (tau / own_tau) ** 2, rel=0.05)


def test_an_orbit_that_does_not_cross_has_no_rate():
    a_moon, mu = EUROPA.distance_km, JUPITER.gm_km3_s2
    assert opik_rate(2.0, 2.0 * (1.0 - 0.3**2), 0.9, a_moon, EUROPA, mu) == 0.0
    assert opik_rate(2.0, 2.0 * (1.0 - 0.6**2), 0.9, a_moon, EUROPA, mu) > 0.0
    assert opik_rate(-3.0, 1.5, 0.9, a_moon, EUROPA, mu) == 0.0


@pytest.fixture(scope="module")
def a_pass(tmp_path_factory):
    text = demonstration("sorrel", altitudes_km="[250]", release_days_before="[10]", clock_step_deg="180")
    study = read_study(study_in(tmp_path_factory.mktemp("bound"), text))
    study = study.with_keys("refine", bound_samples=6, bound_years=0.25)
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
