"""The study file: what is read, and how each mistake is said."""

import copy
import pickle
import re
import tomllib

import pytest

from swarm.study.fields import Section
from swarm.study.schema import FIRST_JD_TDB, read_study, require_supported, study_from, study_rows
from targets.base.errors import InputError
from tests.helpers.places import FIREWEED


@pytest.fixture
def data():
    return tomllib.loads(FIREWEED.read_text(encoding="utf-8"))


def refused(data):
    with pytest.raises(InputError) as caught:
        study_from(data, file="study.toml")
    return str(caught.value)


def changed(data, path, value):
    """`data` with the value at a dotted path replaced; numbers are list positions."""
    data = copy.deepcopy(data)
    *parents, last = [int(part) if part.isdigit() else part for part in path.split(".")]
    inner = data
    for part in parents:
        inner = inner[part]
    inner[last] = value
    return data


def test_the_demonstration_study_is_read():
    study = read_study(FIREWEED)
    assert study.probe.count == 12
    assert study.study.end_jd_tdb - study.study.start_jd_tdb == 1827.0
    assert study.study.date_jd_tdb == study.study.start_jd_tdb
    assert study.science.rows[0].where.taxonomy == ("C", "B")
    assert study.base == FIREWEED.parent


def test_dates_as_numbers_and_as_text_are_the_same(data):
    # 2000-01-01 12:00 TDB is JD 2451545.0 by definition (IAU).
    as_text = study_from(changed(data, "study.start", "2000-01-01T12:00:00 TDB"))
    as_number = study_from(changed(data, "study.start", 2451545))
    assert as_text.study.start_jd_tdb == as_number.study.start_jd_tdb == 2451545.0


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        ("probe.wet_mass_kg", -12.0, "greater than 0"),
        ("probe.wet_mass_kg", 0, "greater than 0"),
        ("probe.wet_mass_kg", "12", "number"),
        ("probe.wet_mass_kg", float("nan"), "finite"),
        ("probe.count", 2.5, "integer"),
        ("probe.count", True, "integer"),
        ("probe.burn_limit_m_s", float("inf"), "finite"),
        ("probe.class", "5U", "6U"),
        ("study.seed", -1, "greater than or equal to 0"),
        ("study.start", "2031-03-01", "TDB"),
        ("study.start", "2031-03-01 UTC", "TDB"),
        ("study.start", "2031-02-30 TDB", "TDB"),
        ("study.start", FIRST_JD_TDB - 1, "span of the planetary ephemeris"),
        ("study.end", "2031-03-01 TDB", "after study.start"),
        ("catalogue.format", "invent", "invented"),
        ("catalogue.bodies", -1, "greater than or equal to 0"),
        ("mothership.e", 1.0, "less than 1"),
        ("mothership.kind", "element", "elements"),
        ("mothership.mass_kg", 100.0, "at least the probes' 192 kg"),
        ("search.arc_max_days", 30.0, "more than arc_min_days"),
        ("search.revolutions_max", -1, "greater than or equal to 0"),
        ("science.rows", [], "at least 1"),
        ("science.rows.1.threshold", 5, "at most the baseline, 4"),
        ("science.rows.1.weight", 0.0, "greater than 0"),
        ("science.rows.1.where.taxonomy", ["M"], "classes among"),
        ("science.rows.1.where.diameter_km_max", 0.1, "more than diameter_km_min"),
        ("science.rows.1.quality_min", 1.5, "less than or equal to 1"),
        ("survival.success", 1.2, "less than or equal to 1"),
        ("optimize.population", 30, "multiple of 4"),
    ],
)
def test_a_value_out_of_bounds_is_named_with_what_was_expected(data, path, value, said):
    message = refused(changed(data, path, value))
    head, *rows = path.split(".")
    key = f"{head}." + ".".join(rows).replace("rows.1", "rows[1]")
    assert message.startswith(f"study.toml, {key}: ")
    assert said in message


@pytest.mark.parametrize(
    ("path", "hint"),
    [
        ("probe.wet_mas_kg", "wet_mass_kg?"),
        ("science.rows.0.where.taxonmy", "taxonomy?"),
        ("science.rows.0.thresold", "threshold?"),
        ("serch", "search?"),
    ],
)
def test_an_unknown_key_is_refused_with_the_likely_one(data, path, hint):
    message = refused(changed(data, path, 1))
    assert path.split(".")[-1] in message
    assert "not known" in message
    assert hint in message


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("carrier_position_km", "mothership_position_km"),
        ("carrier_velocity_m_s", "mothership_velocity_m_s"),
    ],
)
def test_a_key_that_was_renamed_is_refused_with_its_new_name_first(data, old, new):
    message = refused(data | {"knowledge": {old: 1.0}})
    assert f"knowledge.{old}" in message
    assert f"expected: {new}? One of:" in message


def test_a_row_name_used_twice_is_refused(data):
    assert "no other row" in refused(changed(data, "science.rows.1.name", data["science"]["rows"][0]["name"]))


@pytest.mark.parametrize("section", ["study", "catalogue", "mothership", "probe", "science"])
def test_a_missing_section_is_named(data, section):
    del data[section]
    assert refused(data).startswith(f"study.toml, {section}: ")


@pytest.mark.parametrize("key", ["epoch", "a_au", "e", "i_deg", "node_deg", "argp_deg", "mean_anomaly_deg"])
def test_a_missing_element_is_named(data, key):
    del data["mothership"][key]
    assert f"mothership.{key}" in refused(data)


def test_every_problem_is_listed_in_one_message(data):
    data["probe"].update(wet_mass_kg=-1, isp_s="fast", colour="red")
    message = refused(data)
    assert message.startswith("study.toml: 3 values cannot be used")
    for key in ("probe.wet_mass_kg", "probe.isp_s", "probe.colour"):
        assert f"\n  {key}\n" in message


def test_a_blackout_that_ends_before_it_begins_is_refused(data):
    data["constraints"]["blackouts"] = [["2033-07-01 TDB", "2033-06-01 TDB"]]
    assert "constraints.blackouts[0]" in refused(data)


@pytest.mark.parametrize(
    ("section", "settings", "key"),
    [
        ("catalogue", {"format": "mpc-json"}, "catalogue.file"),
        ("catalogue", {"format": "own", "file": "a.csv", "bodies": 3}, "catalogue.bodies"),
        ("mothership", {"kind": "oem"}, "mothership.file"),
        ("mothership", {"kind": "spk", "file": "a.bsp"}, "mothership.spk_id"),
        ("mothership", {"kind": "legs"}, "mothership.legs"),
        (
            "mothership",
            {"kind": "oem", "file": "a.oem", "flyby_clear_days": 1.0},
            "mothership.flyby_clear_days",
        ),
    ],
)
def test_keys_go_with_their_format_or_kind(data, section, settings, key):
    data[section] = settings
    assert key in refused(data)


def test_what_the_schema_knows_and_this_version_does_not_is_refused_with_what_it_does(data):
    data["approach"] = [
        {"name": "stay", "body": "Europa", "kind": "orbit", "periapsis_km": [100.0], "steer": "carrier"}
    ]
    with pytest.raises(InputError, match="this version") as caught:
        require_supported(study_from(data), file="study.toml")
    assert "approach[0].steer" in str(caught.value)


def test_a_missing_file_a_broken_text_and_bytes_are_said(tmp_path):
    with pytest.raises(InputError, match="not there"):
        read_study(tmp_path / "none.toml")
    with pytest.raises(InputError, match="cannot be read"):
        read_study(tmp_path)
    broken = tmp_path / "broken.toml"
    broken.write_text("[study]\nname = \n", encoding="utf-8")
    with pytest.raises(InputError, match="line 2"):
        read_study(broken)
    broken.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not a TOML text"):
        read_study(broken)


def test_every_value_is_listed_with_unit_and_source():
    rows = {key: (value, unit, source) for key, value, unit, source in study_rows(read_study(FIREWEED))}
    assert rows["probe.burn_limit_m_s"] == ("150", "m/s", "study file")
    assert rows["probe.class"] == ("6U", "-", "study file")
    assert rows["study.start"] == ("2031-03-01T00:00:00 TDB", "TDB", "study file")
    value, unit, source = rows["probe.keepout_km"]
    assert (value, unit) == ("50", "km")
    assert "flown companions" in source


def test_every_default_names_its_source(data):
    for section in ("search", "constraints", "survival", "margins", "optimize", "compare"):
        data.pop(section, None)
    data["probe"] = {key: data["probe"][key] for key in ("count", "wet_mass_kg", "burn_limit_m_s")}
    data["science"]["rows"] = [{"name": "any"}]
    rows = study_rows(study_from(data))
    listed = {key for key, *_ in rows}
    for key in ("probe.isp_s", "search.slot_days", "margins.residual_fraction", "survival.success"):
        assert key in listed
    assert all(source for *_, source in rows)


def keys_of_numbers():
    """A parameter for every key that holds a number, or a list of them."""
    return [
        pytest.param(field, id=f"{model.__name__}.{key}")
        for model in Section.__subclasses__()
        for key, field in model.model_fields.items()
        if re.search(r"\b(int|float)\b", str(field.annotation))
    ]


@pytest.mark.parametrize("field", keys_of_numbers())
def test_every_key_of_a_number_declares_its_unit(field):
    assert (field.json_schema_extra or {}).get("unit"), "declare it; a number without a unit says '-'"


def test_keys_of_numbers_are_found():
    named = {param.id for param in keys_of_numbers()}
    assert {"ProbeSettings.count", "Leg.date", "Where.albedo_min", "SlipFile.days"} <= named
    assert "CompareSettings.counts" in named
    assert len(named) > 150


def test_another_seed_changes_the_seed_alone(data):
    study = study_from(data)
    other = study.with_seed(5)
    assert other.study.seed == 5
    assert other.model_dump(exclude={"study"}) == study.model_dump(exclude={"study"})
    assert study.with_seed(None) is study


def test_a_study_survives_the_way_to_a_worker():
    study = read_study(FIREWEED)
    assert pickle.loads(pickle.dumps(study)) == study
    assert pickle.loads(pickle.dumps(study)).base == study.base
