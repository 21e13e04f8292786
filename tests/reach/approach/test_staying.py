"""A mothership that stays at a planet: flown as another integrator flies it, past a moon where it was aimed at."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from swarm.reach.approach.scene import scene_of
from swarm.reach.approach.staying import first_state, staying
from swarm.reach.mothership.sources import mothership_of
from swarm.study.schema import require_searched, study_from
from targets.base.constants import DAY_S
from targets.base.errors import InputError
from targets.base.frames import ecliptic_from_icrf
from targets.base.timescale import jd_from_tdb_s
from targets.ephemeris.planets import sample_planets
from targets.masses.massive import mass_named
from targets.masses.where import Ephemeris
from targets.motion.twobody import elements_from_states
from tests.helpers.flown_about_planets import rates_about
from tests.helpers.tours import MET_S, field_of, mothership_before

JUPITER, EUROPA = mass_named("Jupiter"), mass_named("Europa")
DAYS = 3.0
BESIDE_KM = 9000.0
BURN = [{"date": float(jd_from_tdb_s(MET_S)), "x_m_s": 1.0, "y_m_s": 0.0, "z_m_s": 0.0}]
LOW = [{"name": "low", "where": {"kind": "low-pass", "body": "Europa"}}]


def elements(state):
    """The keys of [mothership] of a state about Jupiter, ICRF."""
    r, v = ecliptic_from_icrf(state[None, :3]), ecliptic_from_icrf(state[None, 3:])
    a, e, i, node, argp, true = (float(x[0]) for x in elements_from_states(r, v, mu_km3_s2=JUPITER.gm_km3_s2))
    half = 2.0 * np.arctan(np.sqrt((1.0 - e) / (1.0 + e)) * np.tan(0.5 * true))
    angles = np.degrees([i, node, argp, half - e * np.sin(half)])
    names = ("i_deg", "node_deg", "argp_deg", "mean_anomaly_deg")
    return {"a_km": a, "e": e, **{name: float(x) for name, x in zip(names, angles, strict=True)}}


def study(**ship):
    state = mothership_before(
        "Europa", field_of("Europa"), days=DAYS, v_inf=(2.5, 2.0, 0.0), away_km=(0.0, 0.0, BESIDE_KM)
    )
    epoch = float(jd_from_tdb_s(MET_S - DAYS * DAY_S))
    path = {"kind": "elements", "center": "Jupiter", "epoch": epoch, **elements(state), **ship}
    return study_from(
        {
            "study": {"name": "stay", "start": epoch - 2.0, "end": epoch + 5.0},
            "catalogue": {"format": "invented", "bodies": 10},
            "mothership": {key: value for key, value in path.items() if value is not None},
            "probe": {"count": 2, "wet_mass_kg": 12.0, "burn_limit_m_s": 300.0, "checkout_days": 0.5},
            "science": {"rows": LOW},
            "approach": [{"name": "skim", "body": "Europa", "release_days_before": [2.0]}],
        }
    )


def test_it_is_flown_as_another_integrator_flies_it():
    """DOP853 with a right-hand side of its own, two days from the epoch of the elements: within a kilometre."""
    asked = study()
    begin = MET_S - DAYS * DAY_S
    span = begin - 2.0 * DAY_S, begin + 5.0 * DAY_S
    path = staying(asked, span, begin, Ephemeris())
    np.testing.assert_allclose(
        path.about_planet(np.array([begin]))[0], first_state(asked), rtol=0.0, atol=1e-3
    )
    epochs = begin + DAY_S * np.array([0.7, 1.3, 2.0])
    rates = rates_about(JUPITER, begin)
    flown = solve_ivp(
        rates, (begin, epochs[-1]), first_state(asked), method="DOP853", t_eval=epochs, rtol=1e-10, atol=1e-6
    ).y.T
    off = np.linalg.norm(path.about_planet(epochs)[:, :3] - flown[:, :3], axis=1)
    assert off.max() < 1.0


def test_it_passes_the_moon_where_its_elements_lead():
    """Aimed 9000 km beside Europa by a flight backwards, and written as elements: found there again."""
    asked = study()
    with scene_of(asked) as scene:
        met = [each for each in scene.found if each.body is EUROPA]
        near = min(met, key=lambda each: abs(each.closest_tdb_s - MET_S))
        assert near.distance_km == pytest.approx(BESIDE_KM, abs=30.0)
        assert abs(near.closest_tdb_s - MET_S) < 60.0
        assert [number for number, _ in scene.asked(asked.approach[0])] == list(range(1, len(met) + 1))
    planets = sample_planets(MET_S - 30.0 * DAY_S, MET_S + 30.0 * DAY_S)
    ship = mothership_of(asked, planets)
    assert ship.legs == ()
    assert "stays at Jupiter" in ship.notes[0]
    require_searched(asked)


@pytest.mark.parametrize(
    ("ship", "key", "found", "expected"),
    [
        ({"center": "Jupitr"}, "mothership.center", "Jupitr", "Jupiter? A planet: Mercury"),
        ({"center": "Europa"}, "mothership.center", "Europa", "A planet: Mercury"),
        ({"a_km": None}, "mothership.a_km", "nothing", 'kind = "elements" needs it'),
        ({"a_au": 5.0}, "mothership.a_au", "5.0", 'no such key with kind = "elements", center = "Jupiter"'),
        ({"a_km": 70_000.0, "e": 0.1}, "mothership.a_km", "63000 at periapsis", "more than 71942 km"),
        (
            {"a_km": 4e7, "e": 0.5},
            "mothership.a_km",
            "60000000 at apoapsis",
            "the sphere of influence of Jupiter",
        ),
        ({"e": 1.2}, "mothership.e", "1.2", "less than 1"),
        ({"motion": "kepler"}, "mothership.motion", "kepler", '"perturbed"'),
        ({"burns": BURN}, "mothership.burns", "a value", "no such key for one that stays at Jupiter"),
    ],
)
def test_what_cannot_stay_is_refused_by_key(ship, key, found, expected):
    with pytest.raises(InputError) as refusal:
        study(**ship)
    told = str(refusal.value)
    for text in (key, found, expected):
        assert text in told, told


def test_bodies_of_the_catalogue_are_not_offered():
    plain = study().model_dump(mode="json", by_alias=True, exclude_unset=True)
    with pytest.raises(InputError, match="no body is flown by") as refusal:
        study_from(plain | {"science": {"rows": [*LOW, {"name": "bodies"}]}})
    assert refusal.value.place == "science.rows[1].where.kind"
    with pytest.raises(InputError, match="no body of the catalogue is offered"):
        study_from(
            {key: value for key, value in plain.items() if key not in ("approach", "science")}
            | {"science": {"rows": [{"name": "x", "where": {"kind": "orbit"}}]}}
        )


def test_an_orbit_that_the_sun_takes_away_is_told_with_the_day():
    """At Venus, so near the edge of its sphere of influence that the Sun's pull decides."""
    asked = study(center="Venus", a_km=5.0e5, e=0.2)
    begin = MET_S - DAYS * DAY_S
    with pytest.raises(InputError, match="does not stay at Venus") as refusal:
        staying(asked, (begin, begin + 300.0 * DAY_S), begin, Ephemeris())
    assert refusal.value.place == "mothership.center"
    assert "d after study.start" in str(refusal.value.found)
