"""Bad input of entries: key, found, expected; entry and low pass mixed up; what an atmosphere must be."""

import pytest

from swarm.app.entries import corridor_lines
from swarm.study.schema import require_searched, require_supported, study_from
from targets.base.errors import InputError, NothingFeasible
from tests.helpers.ledum import changed, small, written_study

ROWS = "height_km,density_kg_m3,pressure_pa,temperature_k\n"


def study(*, approach=None, designs=None, rows=None, **more):
    shell = {"name": "shell", "count": 2, "takes": ["entry"], "wet_mass_kg": 20.0, "burn_limit_m_s": 100.0,
             "entry": {"diameter_m": 0.5, "nose_radius_m": 0.1}}  # fmt: skip
    given = {
        "study": {"name": "entry", "start": "2031-03-01 TDB", "end": "2034-03-01 TDB"},
        "catalogue": {"format": "invented", "bodies": 10},
        "mothership": {
            "kind": "elements", "epoch": "2031-03-01 TDB", "a_au": 2.3, "e": 0.15, "i_deg": 4.0, "node_deg": 40.0,
            "argp_deg": 120.0, "mean_anomaly_deg": 15.0,
        },
        "designs": [shell | (designs or {})],
        "science": {"rows": rows or [{"name": "down", "where": {"kind": "entry"}}]},
        "approach": [{"name": "down", "body": "Venus", "kind": "entry"} | (approach or {})],
        **more,
    }  # fmt: skip
    return study_from(given)


@pytest.mark.parametrize(
    ("approach", "key", "found", "expected"),
    [
        ({"body": "Mercury"}, "approach[0].kind", "which has no atmosphere", 'of Mercury "low-pass"'),
        ({"body": "Europa"}, "approach[0].kind", "which has no atmosphere", "a body with an atmosphere: Venus"),
        ({"altitudes_km": [300]}, "approach[0].altitudes_km", "300", 'no such key with kind = "entry"'),
        ({"impact_chance_max": 1e-4}, "approach[0].impact_chance_max", "0.0001", 'no such key with kind = "entry"'),
        ({"kind": "low-pass", "angles_deg": [20]}, "approach[0].angles_deg", "20", 'with kind = "low-pass"'),
        ({"kind": "low-pass", "altitudes_km": [150]}, "approach[0].altitudes_km[0]", "150", "below, that is an entry"),
        ({"atmosphere": "titan-mean"}, "approach[0].atmosphere", "of Titan", '"venus-mean", or a file'),
        ({"interface_km": 500.0}, "approach[0].interface_km", "500", "so high does venus-mean reach"),
        ({"end_bar": 200.0}, "approach[0].end_bar", "200", "so deep does venus-mean reach"),
        ({"body": "Neptune"}, "approach[0].atmosphere", "nothing", "a file: none ships for this body"),
        ({"steer": "carrier", "divert_after_days": 9.0, "release_days_before": [8.0]},
         "approach[0].release_days_before[0]", "8", "more than divert_after_days, 9"),
        ({"angles_deg": [0.0]}, "approach[0].angles_deg.0", "0", "greater than 0"),
        ({"angles_deg": [95.0]}, "approach[0].angles_deg.0", "95", "less than or equal to 90"),
        ({"relay_elevation_min_deg": -5.0}, "approach[0].relay_elevation_min_deg", "-5", "greater than or equal to 0"),
        ({"wind_m_s": float("nan")}, "approach[0].wind_m_s", "nan", "finite number"),
    ],
)  # fmt: skip
def test_what_cannot_be_asked(approach, key, found, expected):
    with pytest.raises(InputError) as refusal:
        study(approach=approach)
    told = str(refusal.value)
    assert refusal.value.place is None or key.split(".")[0] in str(refusal.value.place) or key in told
    for part in (found, expected):
        assert part in told, (part, told)


@pytest.mark.parametrize(
    ("designs", "told"),
    [
        ({"entry": None}, "entry"),
        ({"entry": {"diameter_m": 0.5, "nose_radius_m": 0.1, "drag_coefficient": -1.0}}, "drag_coefficient"),
        ({"entry": {"diameter_m": 0.0, "nose_radius_m": 0.1}}, "diameter_m"),
        (
            {"stages": [{"at": "knots", "value": 1, "area_m2": 1, "drag_coefficient": 1, "mass_kg": 1}]},
            "stages",
        ),
    ],
)
def test_a_shell_is_needed_and_is_one(designs, told):
    with pytest.raises(InputError, match=told):
        study(designs=designs)


@pytest.mark.parametrize(
    ("where", "told"),
    [
        ({"kind": "entry", "altitude_km_max": 300.0}, 'no such key with kind = "entry"'),
        ({"kind": "entry", "dwell_s_min": 3.0}, 'no such key with kind = "entry"'),
        ({"bar_min": 1.0}, 'no such key with kind = "flyby"'),
        ({"kind": "low-pass", "local_time_h": [18, 6]}, 'no such key with kind = "low-pass"'),
        ({"kind": "entry", "body": "Mars"}, 'the body of an [[approach]] with kind = "entry": Venus'),
        ({"kind": "entry", "latitude_deg": [60, -60]}, "the southern latitude first"),
        ({"kind": "entry", "bar_min": -1.0}, "greater than 0"),
        ({"kind": "entry", "local_time_h": [18, 25]}, "less than or equal to 24"),
    ],
)
def test_what_a_row_cannot_ask(where, told):
    with pytest.raises(InputError) as refusal:
        study(rows=[{"name": "down", "where": where}])
    assert told in str(refusal.value)


def test_entries_are_searched_whoever_steers():
    require_supported(study())
    require_searched(study())
    aimed = study(approach={"steer": "carrier", "divert_after_days": 1.0})
    require_supported(aimed)
    require_searched(aimed)


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"steer": "spin"}, '"spin", not computed by this version'),
        ({"steer": "carrier", "divert_after_days": 30.0}, "the mothership diverts before it arrives"),
        ({"steer": "carrier", "divert_after_days": 8.0}, "it is back before it lets the next one go"),
        ({"divert_after_days": 2.0}, 'no such key with steer = "probe"'),
    ],
)
def test_a_mothership_that_aims_is_back_before_it_arrives(asked, told):
    with pytest.raises(InputError) as refusal:
        require_supported(study(approach=asked))
    assert told in str(refusal.value)


def test_entries_and_rows_need_each_other():
    with pytest.raises(InputError, match="a kind that some row asks for"):
        require_searched(study(rows=[{"name": "bodies"}]))
    low = {"kind": "low-pass", "altitudes_km": [300]}
    rows = [{"name": each, "where": {"kind": each}} for each in ("entry", "low-pass")]
    with pytest.raises(InputError, match="and no approach of it"):
        require_searched(study(approach=low, designs={"takes": ["entry", "low-pass"]}, rows=rows))


@pytest.mark.parametrize(
    ("rows", "what"),
    [
        ("0,60,9e6,700\n50,1.6,1e5,350\n100,8e-5,2.6,175\n", "does not reach the interface"),
        ("0,60,9e6,700\n100,70,1e5,350\n250,1e-9,1e-4,200\n", "density does not fall"),
    ],
)
def test_an_own_atmosphere_reaches_the_interface_and_falls(tmp_path, rows, what):
    (tmp_path / "own.csv").write_text(ROWS + rows, encoding="utf-8")
    with pytest.raises(InputError, match=what) as refusal:
        corridor_lines(written_study(tmp_path, small(atmosphere='"own.csv"')))
    assert "own.csv" in str(refusal.value)


def test_nothing_in_the_corridor_tells_the_angles_that_would_do(tmp_path):
    """Exit 3: what was asked for, and the angles between the edges as they were flown."""
    with pytest.raises(NothingFeasible) as refusal:
        corridor_lines(written_study(tmp_path, small(angles_deg="[5, 80]")))
    told = f"{refusal.value} {refusal.value.limit}"
    assert "no entry of Venus is in its corridor" in told
    assert "angles_deg = 5, 80" in told
    # the edges as bisected for every clock angle: 14.96 (heat load) and 44.24 deg (deceleration)
    assert "shell 15.0 to 44.2 deg" in told


def test_limits_that_leave_nothing_are_told(tmp_path):
    with pytest.raises(NothingFeasible, match="leave nothing between the edges") as refusal:
        corridor_lines(written_study(tmp_path, changed(small(), decel_limit_g="20.0")))
    assert refusal.value.limit
