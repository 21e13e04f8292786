"""Counts and their interval; impacts that are certain and passes that are not."""

import math
from dataclasses import replace

import numpy as np
import pytest

from swarm.reach.mothership.path import Path
from swarm.refine import continuation
from swarm.refine.chance import Chance, binomial_interval
from swarm.refine.continuation import follow_to_impact
from swarm.refine.correct import refine_arc
from swarm.refine.dispersion import disperse, draws_of
from swarm.refine.forces import NAMES
from swarm.refine.impacts import impacts_of
from swarm.refine.nbody import make_field, moved, path, place, propagate
from swarm.refine.recontact import least_distances, recontacts
from swarm.refine.safety import cautions, safety_table
from swarm.refine.whole_plan import FlownProbe
from targets.base.constants import AU_KM, DAY_S, GM_EARTH_KM3_S2, GM_SUN_KM3_S2, JULIAN_YEAR_S
from tests.helpers.refined_arc import RELEASE_S, make_study

T0 = 983_361_600.0


def test_the_interval_is_clopper_and_pearsons():
    # closed form for no hits: 1 - (0.025)^(1/n); for all hits its mirror image
    assert binomial_interval(0, 30) == pytest.approx((0.0, 1.0 - 0.025 ** (1 / 30)))
    assert binomial_interval(30, 30) == pytest.approx((0.025 ** (1 / 30), 1.0))
    # 1 of 10: 0.0025 to 0.4450 (tables of Clopper and Pearson, from memory)
    assert binomial_interval(1, 10) == pytest.approx((0.0025, 0.4450), abs=5e-5)
    assert binomial_interval(0, 0) == (0.0, 1.0)


def test_a_body_aimed_at_the_earth_hits_it_and_one_beside_it_does_not():
    field = make_field(T0 - 400 * DAY_S, T0 + 400 * DAY_S)
    earth = place(field, "Earth", T0)[0]
    out = np.array([0.48, 0.6, 0.64])
    states = []
    for side_km in (0.0, 3e4):
        # ten days before: coming in along `out` at 10 km/s, aside by so much
        off = np.concatenate([out * 9e5 + side_km * np.array([0.8, -0.64, 0.0]), -10.0 * out])
        states.append(moved(field, earth + off, T0, T0 - 10 * DAY_S))
    hit, when, status, _ = follow_to_impact(field.tables, np.array(states), T0 - 10 * DAY_S, 30 * DAY_S)
    assert (status == 0).all()
    assert hit.tolist() == [NAMES.index("Earth"), 0]
    assert 10.0 < when[0] / DAY_S < 11.2


@pytest.mark.parametrize(
    ("planet", "from_km"), [("Mercury", 1e5), ("Venus", 6e5), ("Earth", 9e5), ("Mars", 5e5), ("Jupiter", 3e6)]
)
def test_no_planet_is_stepped_over(planet, from_km):
    """Ten bodies of any direction and 12 to 25 km/s, aimed at the planet's middle and taken back 150 days: all hit."""
    field = make_field(T0 - 400 * DAY_S, T0 + 400 * DAY_S)
    random, there = np.random.default_rng(8), place(field, planet, T0)[0]
    out = random.standard_normal((10, 3))
    out /= np.linalg.norm(out, axis=1, keepdims=True)
    off = np.hstack([from_km * out, -random.uniform(12.0, 25.0, 10)[:, None] * out])
    states = np.array([moved(field, there + x, T0, T0 - 150 * DAY_S) for x in off])
    hit, _, status, _ = follow_to_impact(field.tables, states, T0 - 150 * DAY_S, 200 * DAY_S)
    assert (status == 0).all()
    assert (hit == NAMES.index(planet)).all()


def test_capture_by_the_earth_is_that_of_two_bodies():
    """A pass hits if its impact parameter is below R sqrt(1 + 2 GM / (R v^2)), two-body motion of any textbook."""
    field = make_field(T0 - 100 * DAY_S, T0 + 100 * DAY_S)
    earth, speed, radius = place(field, "Earth", T0)[0], 8.0, 6478.1
    captured = radius * np.sqrt(1.0 + 2.0 * GM_EARTH_KM3_S2 / (radius * speed**2))
    towards, aside = np.array([0.48, 0.6, 0.64]), np.array([0.8, -0.64, 0.0])
    # from 2e6 km out: the speed at infinity is less than the speed there, by the Earth's pull
    there = np.sqrt(speed**2 + 2.0 * GM_EARTH_KM3_S2 / 2e6)
    shares = np.array([0.2, 0.9, 0.97, 1.03, 1.1, 2.0])
    states = np.array(
        [
            earth + np.concatenate([-2e6 * towards + share * captured * aside, there * towards])
            for share in shares
        ]
    )
    found = follow_to_impact(field.tables, states, T0, 10 * DAY_S)
    assert (found.hit == NAMES.index("Earth")).tolist() == (shares < 1.0).tolist()
    assert (found.status == 0).all()


@pytest.mark.parametrize(("a_au", "e"), [(2.6, 0.15), (1.1, 0.1), (3.0, 0.6)])
def test_common_steps_lead_where_the_exact_ones_do(a_au, e):
    """Twenty years against the integrator's own steps at its full tolerance, for bodies 10 000 km apart.

    Limit: a step may err by 1e-10, 15 to 40 m of distance, and nearly all err by much less (worst seen 0.08 km).
    """
    years = 20.0
    field = make_field(T0 - DAY_S, T0 + (years + 1.0) * JULIAN_YEAR_S)
    near = a_au * (1.0 - e) * AU_KM
    speed = np.sqrt(GM_SUN_KM3_S2 / (a_au * AU_KM) * (1.0 + e) / (1.0 - e))
    nominal = np.array([near, 0.0, 0.0, 0.0, 0.995 * speed, 0.0998 * speed])
    spread = np.array([1e4] * 3 + [1e-4] * 3)
    states = nominal + np.random.default_rng(5).standard_normal((70, 6)) * spread
    found = follow_to_impact(field.tables, states, T0, years * JULIAN_YEAR_S, beta=1e6)
    exact = propagate(field, states, T0, T0 + years * JULIAN_YEAR_S, beta=1e6)
    off = np.linalg.norm(found.states[:, :3] - exact[:, :3], axis=1)
    assert off.max() < 1.0
    assert (found.hit == 0).all()


def test_what_becomes_of_a_body_does_not_depend_on_those_beside_it():
    """A hundred on the way to Mars, of which some hit: together and one by one the same ones, at the same time."""
    field = make_field(T0 - 400 * DAY_S, T0 + 400 * DAY_S)
    mars = place(field, "Mars", T0)[0]
    random = np.random.default_rng(12)
    off = np.array([5e5, 0.0, 0.0, -8.0, 0.0, 0.0]) + random.standard_normal((100, 6)) * (
        [8e3] * 3 + [0.0] * 3
    )
    states = propagate(field, mars + off, T0, T0 - 300 * DAY_S)
    together = follow_to_impact(field.tables, states, T0 - 300 * DAY_S, 400 * DAY_S)
    alone = [follow_to_impact(field.tables, state[None], T0 - 300 * DAY_S, 400 * DAY_S) for state in states]
    assert 10 < (together.hit > 0).sum() < 90
    assert [int(one.hit[0]) for one in alone] == together.hit.tolist()
    assert [float(one.when_s[0]) for one in alone] == pytest.approx(together.when_s.tolist(), abs=7200.0)
    lost = states.copy()
    lost[3] = np.nan
    beside = follow_to_impact(field.tables, lost, T0 - 300 * DAY_S, 400 * DAY_S)
    assert beside.status.tolist() == [int(k == 3) for k in range(100)]
    assert np.delete(beside.hit, 3).tolist() == np.delete(together.hit, 3).tolist()


@pytest.mark.parametrize("block", [7, 64, 600])
def test_blocks_of_any_size_give_the_same_bytes(monkeypatch, block):
    """Of 130 bodies between the Earth and Mars for three years: the planets pull, some go alone."""
    field = make_field(T0 - DAY_S, T0 + 4.0 * JULIAN_YEAR_S)
    earth = place(field, "Earth", T0)[0]
    spread = np.random.default_rng(6).standard_normal((130, 6)) * ([4e6] * 3 + [1.0] * 3)
    plain = follow_to_impact(field.tables, earth + spread, T0, 3.0 * JULIAN_YEAR_S)
    monkeypatch.setattr(continuation, "_BLOCK", block)
    found = follow_to_impact(field.tables, earth + spread, T0, 3.0 * JULIAN_YEAR_S)
    assert [one.tobytes() for one in found] == [one.tobytes() for one in plain]
    assert np.isfinite(plain.states).all()


# --- recontact ----------------------------------------------------------------------------------------------


def flown_of(study, field, arc, known):
    made = refine_arc(study, field, arc)
    spread = disperse(study, field, made, known=known, full=False, draws=draws_of(1, 5, 100))
    return FlownProbe(made, known, spread, spread)


@pytest.fixture(scope="module")
def alone(field, arc):
    """The mothership's path on one leg."""
    return [leg_of(field, arc.mothership, RELEASE_S, RELEASE_S, 240.0)]


def leg_of(field, state, at_s, begin_s, days):
    epochs = begin_s + DAY_S * np.arange(0.0, days)
    start = moved(field, state, at_s, begin_s)
    return Path(begin_s, DAY_S, np.vstack([start, path(field, start, begin_s, epochs[1:])]))


def of_kind(found, kind):
    return [one for one in found if one.kind == kind]


def test_the_spring_gives_the_first_hour(field, arc, known, alone):
    study = make_study(
        probe={"spring_m_s": 1.0}, delivery={"spring_fraction": 0.0, "spring_direction_deg": 0.0}
    )
    found = recontacts(study, [flown_of(study, field, arc, known)], alone)
    (separation,) = of_kind(found, "separation")
    # no force between them to speak of: 1 m/s for 3600 s, whatever part of it is the mothership's recoil
    assert separation.least_km == pytest.approx(3.6, abs=1e-3)
    assert (separation.hits, separation.samples, separation.other) == (0, 50, "mothership")
    (later,) = of_kind(found, "recontact")
    # after a day of the spring alone
    assert later.least_km == pytest.approx(86.4, rel=0.01)
    assert later.hits == 0


def test_a_burn_back_past_the_mothership_is_seen(field, arc, known, alone):
    """Half a day after a release along its burn's opposite the probe comes by at the burn's speed."""
    study = make_study(probe={"checkout_days": 0.5})
    one = flown_of(study, field, replace(arc, burn_tdb_s=RELEASE_S + 0.5 * DAY_S), known)
    back = -one.made.burn_km_s / np.linalg.norm(one.made.burn_km_s) * 1e-3
    released = arc.mothership + np.concatenate([np.zeros(3), back])
    turned = replace(one, made=replace(one.made, released=released, spring_km_s=back))
    found = recontacts(study, [turned], alone)
    assert of_kind(found, "separation")[0].hits == 50
    assert of_kind(recontacts(study, [one], alone), "separation")[0].hits == 0
    assert any("turns back towards mothership" in said for said in cautions(found))


def test_a_mothership_that_manoeuvres_onto_a_probe_is_seen(field, arc, known, alone):
    dark = {"solar_area_m2": 0.0}
    study = make_study(probe=dark)
    one = flown_of(study, field, arc, known)
    early = Path(RELEASE_S, DAY_S, alone[0].states[:60])
    at = RELEASE_S + 70.0 * DAY_S
    # the mothership's later leg is the probe's own nominal path, a month ahead
    onto = leg_of(field, one.made.after_burn, arc.burn_tdb_s, at, 60.0)
    past = leg_of(field, arc.mothership, RELEASE_S, at, 60.0)
    (hit,) = of_kind(recontacts(study, [one], [early, onto]), "manoeuvre")
    (miss,) = of_kind(recontacts(study, [one], [early, past]), "manoeuvre")
    assert hit.least_km < 5000.0  # the burn's errors: 0.6 m/s for 67 days are 3500 km
    assert miss.hits == 0
    assert miss.least_km > 1e5  # 40 m/s for 67 days
    quiet = {"execution_fixed_m_s": 0.0, "execution_proportional": 0.0, "execution_pointing_mrad": 0.0}
    exact = make_study(probe=dark | quiet, delivery={"spring_fraction": 0.0, "spring_direction_deg": 0.0})
    (certain,) = of_kind(recontacts(exact, [one], [early, onto]), "manoeuvre")
    assert certain.hits == certain.samples == 50


def test_a_loose_part_is_looked_at_only_where_the_study_has_one(field, arc, known, alone):
    study = make_study()
    one = flown_of(study, field, arc, known)
    assert {found.name for found in recontacts(study, [one], alone)} == {"probe 0"}
    parted = make_study(probe={"loose_part_kg": 0.4, "loose_part_m_s": 0.5})
    found = recontacts(parted, [one], alone)
    assert {(x.kind, x.name, x.other) for x in found} == {
        ("separation", "probe 0", "mothership"),
        ("recontact", "probe 0", "mothership"),
        ("separation", "part 0", "mothership"),
        ("recontact", "part 0", "mothership"),
        ("separation", "part 0", "probe 0"),
        ("recontact", "part 0", "probe 0"),
    }
    assert not any(x.hits for x in found)
    # as fast as the probe: the two stay together, and that is said
    beside = make_study(probe={"loose_part_kg": 0.4, "loose_part_m_s": 1.0})
    assert any(x.hits for x in recontacts(beside, [one], alone) if x.other == "probe 0")
    rows = safety_table(found).to_pylist()
    assert rows[0]["object"] == "probe 0"
    assert rows[0]["chance_high"] == pytest.approx(1.0 - 0.025 ** (1 / 50))


def test_least_distance_between_looks_and_over_a_gap():
    past = np.array(
        [[[-10.0, 3.0, 0.0]], [[10.0, 3.0, 0.0]], [[np.nan] * 3], [[-20.0, 1.0, 0.0]], [[-30.0, 1.0, 0.0]]]
    )
    assert least_distances(past) == pytest.approx([3.0])


def test_parts_and_dead_probes_are_followed_for_impacts_too(field, arc, known):
    rules = {"impact_samples": 3, "impact_years": 2.0, "earth_years": 3.0}
    study = make_study(probe={"loose_part_kg": 0.4}, refine=rules)
    found = impacts_of(flown_of(study, field, arc, known), study)
    assert [(x.kind, x.name, x.samples, x.years) for x in found] == [
        ("impact", "probe 0", 3, 2.0),
        ("earth", "probe 0", 3, 3.0),
        ("impact", "probe 0 without its burn", 3, 2.0),
        ("earth", "probe 0 without its burn", 3, 3.0),
        ("impact", "part 0", 3, 2.0),
        ("earth", "part 0", 3, 3.0),
    ]
    said = cautions(found)
    # 70.76 % is 1 - 0.025^(1/3), 33.63 % is 1 - 0.025^(1/9): Clopper & Pearson (1934)
    assert said[0].startswith("impact on a planet within 2 years, 95 % intervals: each object below 70.76%")
    assert said[0].endswith("on average 0.00% to 33.63%, 0 of 9 samples")


def test_a_probe_that_dies_on_a_path_to_the_earth_is_seen(field, arc, known):
    """The burn leads past the Earth; without it the probe stays on the mothership's path, which hits."""
    study = make_study(refine={"impact_samples": 20, "impact_years": 2.0, "earth_years": 2.0})
    one = flown_of(study, field, arc, known)
    earth = place(field, "Earth", RELEASE_S + 100 * DAY_S)[0]
    onto = earth + np.array([-9e5 * 0.48, -9e5 * 0.6, -9e5 * 0.64, 4.8, 6.0, 6.4])
    released = moved(field, onto, RELEASE_S + 100 * DAY_S, RELEASE_S)
    tight = np.diag([1.0] * 3 + [1e-12] * 3)
    dead = replace(
        one,
        made=replace(one.made, released=released, beta=(0.0, 0.0)),
        full=replace(one.full, released_cov=tight),
    )
    found = impacts_of(dead, study)
    hits = {(x.name, x.kind): x.hits for x in found}
    assert hits["probe 0 without its burn", "earth"] == hits["probe 0 without its burn", "impact"] == 20
    assert hits["probe 0", "impact"] == 0
    assert any(
        said.startswith("probe 0 without its burn hits the Earth in 20 of 20") for said in cautions(found)
    )


def test_few_samples_are_said_to_be_few_and_each_object_comes_first():
    """None of 300: upper end 1.22 % (Clopper & Pearson 1934: 1 - 0.025^(1/300)), above the 0.1 % of interest."""
    few = [Chance("impact", k, False, "", 0, 300, 50.0, math.inf) for k in range(2)]
    (said,) = cautions(few)
    assert (
        said.index("each object below 1.22%")
        < said.index("too few samples to say")
        < said.index("on average")
    )
    many = [Chance("impact", 0, False, "", 0, 100_000, 50.0, math.inf)]
    assert "too few" not in cautions(many)[0]
