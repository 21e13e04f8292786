"""What instruments get of a low pass, against sums along the path and closed forms; rows that ask for counts."""

from types import SimpleNamespace

import numpy as np
import pyarrow as pa
import pytest
from scipy.integrate import quad

from swarm.encounter.instruments import light_score, pixel_score
from swarm.encounter.pass_instruments import PassSeen, best_score, counter_sigma, finest
from swarm.encounter.pass_table import pass_fits
from swarm.encounter.quality import pixel_angle_rad
from swarm.study.schema import ProbeSettings
from swarm.study.sections.carried import OF_KIND, InstrumentSettings
from swarm.study.sections.science import Where
from targets.masses.massive import mass_named

EUROPA = mass_named("Europa")
LIT, DARK = (
    PassSeen(EUROPA.radius_km, EUROPA.gm_km3_s2, 4.0, 4.2, sun) for sun in (40.0, -20.0)
)  # fmt: skip


def study(*instruments):
    probe = ProbeSettings(count=1, wet_mass_kg=12.0, burn_limit_m_s=100.0)
    return SimpleNamespace(probe=SimpleNamespace(**dict(probe), instruments=tuple(instruments)))


def test_without_instruments_it_is_the_camera():
    alone, heights = study(), np.array([50.0, 400.0])
    pixel = 1e3 * pixel_angle_rad(alone.probe) * heights
    score = best_score(alone, LIT, heights)
    assert (score <= pixel_score(pixel, full_m=1.0, worst_m=100.0)).all()
    assert score[0] > score[1] > 0.0
    assert (best_score(alone, DARK, heights) == 0.0).all()
    assert np.isnan(counter_sigma(alone, heights, np.full(2, 4.2))).all()
    assert finest(alone, heights, 4.2)[0] == pytest.approx(pixel)


def test_a_counter_sees_in_the_dark():
    """P9 of the design: a disc of 10 km is 0.0513 of the counts from 30 km; 2 h / v = 14.3 s over it."""
    own = InstrumentSettings(name="n", contrast=0.2, counts_per_s=50.0, sigma_full=3.0)
    z = 0.0513 * 0.2 * np.sqrt(50.0 * 60.0 / 4.2)
    told = counter_sigma(study(own), np.array([30.0]), np.array([4.2]))
    assert told == pytest.approx([z], rel=1e-3)
    assert best_score(study(own), DARK, np.array([30.0])) == pytest.approx([z / 3.0], rel=1e-3)
    strong = InstrumentSettings(name="s", contrast=1.0, counts_per_s=1e6)
    assert best_score(study(own, strong), DARK, np.array([30.0])) == pytest.approx([1.0])
    assert counter_sigma(study(own, strong), np.array([30.0]), np.array([4.2]))[0] > 5.0


def test_a_magnetometer_feels_the_cube():
    """At the height of its depth a source is an eighth: 80 nT are 10, of 4 nT noise 2.5 sigma of 5."""
    own = InstrumentSettings(name="m", kind="field", source_depth_km=20.0, source_nt=80.0, noise_nt=4.0)
    assert best_score(study(own), DARK, np.array([20.0])) == pytest.approx([0.5])
    assert best_score(study(own), DARK, np.array([0.0])) == pytest.approx([1.0])


@pytest.mark.parametrize("v_inf", [1.0, 4.0, 9.0])
def test_what_a_sampler_takes_in_is_the_sum_along_the_hyperbola(v_inf):
    """n0 exp(-height/H) A v dt summed over true anomaly, to 3 %: the height of a conic is not quite a parabola in s."""
    periapsis, scale, mu = EUROPA.radius_km + 60.0, 20.0, EUROPA.gm_km3_s2
    e = 1.0 + periapsis * v_inf**2 / mu
    p = periapsis * (1.0 + e)

    def flow(anomaly):
        r = p / (1.0 + e * np.cos(anomaly))
        way = r * np.sqrt(1.0 + (e * np.sin(anomaly) / (1.0 + e * np.cos(anomaly))) ** 2)
        return np.exp(-(r - EUROPA.radius_km) / scale) * 1e3 * way

    summed = 1e9 * 1e-4 * quad(flow, -1.2, 1.2, limit=500)[0]
    own = InstrumentSettings(
        name="s",
        kind="sampler",
        ground_per_m3=1e9,
        scale_height_km=scale,
        opening_m2=1e-4,
        counts_full=2.0 * summed,
    )
    seen = PassSeen(EUROPA.radius_km, mu, v_inf, 4.2, -20.0)
    assert best_score(study(own), seen, np.array([60.0])) == pytest.approx([0.5], rel=0.03)
    slow = own.model_copy(update={"speed_max_km_s": 1.0})
    assert best_score(study(slow), seen, np.array([60.0])) == pytest.approx([0.0])


def test_the_finer_of_two_cameras_gives_the_pixel():
    wide = InstrumentSettings(name="w", kind="camera", pixel_urad=500.0)
    fine = InstrumentSettings(name="f", kind="camera", pixel_urad=2.0, camera_exposure_ms=0.01)
    heights = np.array([100.0])
    assert finest(study(wide, fine), heights, 4.2)[0] == pytest.approx([0.2])
    assert best_score(study(fine), LIT, heights) == pytest.approx(light_score([40.0]))
    assert best_score(study(wide), LIT, heights) == pytest.approx(best_score(study(), LIT, heights))


def test_rows_ask_for_counts():
    table = pa.table({"altitude_km": [30.0, 30.0, 30.0], "count_sigma": [2.9, 3.0, np.nan]})
    assert pass_fits(Where(kind="low-pass", count_sigma_min=3.0), table, None).tolist() == [
        False,
        True,
        False,
    ]


@pytest.mark.parametrize("kind", OF_KIND)
def test_an_instrument_shows_the_numbers_of_its_kind_alone(kind):
    own = InstrumentSettings(name="x", kind=kind)
    shown = set(InstrumentSettings.model_fields) - set(own.unused()) - {"name", "kind"}
    assert shown == set(OF_KIND[kind])
