"""What stays bound meets the moon again: Opik's rate against counted passages, and its chance against the limit."""

import numpy as np
import pytest

from swarm.encounter.later_impact import opik_rate
from swarm.encounter.pass_left_out import none_of_passes
from swarm.reach.arcs.bplane import impact_parameter_km
from swarm.study.study_file import read_study
from targets.base.constants import JULIAN_YEAR_S
from targets.masses.massive import mass_named
from tests.helpers.places import ROOT
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


def staying(**protection):
    """A mothership that stays at Jupiter: what it lets go past Europa stays there, too."""
    study = read_study(ROOT / "runs" / "motherships" / "staying.toml")
    return study.with_keys("protection", **{"bound_years": 5.0} | protection)


def test_what_stays_bound_counts_for_its_years():
    """A tenth in five years and twice that in ten; limits take it: so many rows are barred by it.

    Order of size by hand: 514 times round of 3.55 d in five years, each with (2 x 1560.8/671 100)^2 over the sine of
    a few degrees, which is 1e-4 to 1e-3.
    """
    rows = screening_of(staying(impact_chance_max={})).opportunities.to_pylist()
    assert len(rows) > 4
    longer = screening_of(staying(impact_chance_max={}, bound_years=10.0)).opportunities.to_pylist()
    for row, more in zip(rows, longer, strict=True):
        assert 0.01 < row["later_impact_chance"] < 0.3
        assert more["later_impact_chance"] == pytest.approx(2.0 * row["later_impact_chance"], rel=1e-12)
    sums = [row["impact_chance"] + row["later_impact_chance"] for row in rows]
    limit = float(np.median(sums))
    kept = screening_of(staying(impact_chance_max={"Europa": limit})).opportunities.to_pylist()
    assert len(kept) == sum(total <= limit for total in sums)
    assert 0 < len(kept) < len(rows)


def test_a_limit_that_later_passes_break_says_so():
    study = staying(impact_chance_max={"Europa": 1e-2})
    left = screening_of(study)
    assert not left.opportunities.num_rows
    told = none_of_passes(study, left.by_kind["low-pass"])
    said = f"{told.what}: {told.limit}"
    assert (
        "since probes stay bound to the planet and come back within 5 years (protection.bound_years" in said
    )
    assert "no height" in said
    # disposal planned elsewhere: only the passes themselves count, of which some keep the limit
    assert screening_of(staying(impact_chance_max={"Europa": 1e-2}, bound_years=0.0)).opportunities.num_rows


def test_what_leaves_the_planet_has_no_later_chance(tmp_path):
    """20.3 km/s at Europa's distance, where 19.4 escape from Jupiter (sqrt(2 GM/r))."""
    text = demonstration("sorrel", altitudes_km="[250]", release_days_before="[10]", clock_step_deg="180")
    rows = screening_of(read_study(study_in(tmp_path, text))).opportunities.to_pylist()
    assert [row["later_impact_chance"] for row in rows] == [0.0] * len(rows)
