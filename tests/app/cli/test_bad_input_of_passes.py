"""What cannot be asked of bodies with mass and of low passes: exit 2 or 3, key, what stands there, what would do."""

import re

import numpy as np
import pytest

from swarm.study.schema import read_study, require_files, require_searched, require_supported
from targets.base.errors import InputError
from targets.base.timescale import tdb_s_from_jd
from targets.ephemeris import spice
from tests.helpers.command_line import call
from tests.helpers.places import ROOT

SORREL = (ROOT / "runs" / "sorrel" / "study.toml").read_text(encoding="utf-8")
APPROACH, PROBE = "[[approach]]", "[probe]"
DESIGN = '[[designs]]\nname = "skimmer"\ntakes = ["low-pass"]'


def given(**changes):
    """(old, new) lines of the study with keys that it has set anew."""
    lines = {line.split("=")[0].strip(): line for line in SORREL.splitlines()}
    return [(lines[key], f"{key} = {value}") for key, value in changes.items()]


def more(section, text):
    """The change that puts lines at the head of a section."""
    return [(section, f"{section}\n{text}")]


NAME = 'name = "n"'


def instruments(*carried):
    """The change that makes the study's [probe] a design that takes passes and carries instruments of these lines."""
    held = "".join("[[designs.instruments]]\n" + "\n".join(lines) + "\n" for lines in carried)
    first = f"{DESIGN}\ncount = 2\nwet_mass_kg = 12.0\nburn_limit_m_s = 60.0\n{held}"
    return [(PROBE, f'{first}[[designs]]\nname = "other"\ntakes = ["low-pass"]')]


# rows that flybys serve, beside those of the study: a design that takes no passes is of use
FLYBYS = [("[compare]", '[[science.rows]]\nname = "bodies"\n[compare]')]


def body(name):
    """The changes that ask for another body."""
    return [*given(body=f'"{name}"'), ('body = "Europa"', f'body = "{name}"')]


def study(folder, changes):
    text = SORREL.replace('"sorrel.oem"', f'"{ROOT / "runs" / "sorrel" / "sorrel.oem"}"')
    quick = given(clock_step_deg="90", altitudes_km="[200]", release_days_before="[10]")
    changed = {old.split("=")[0].strip() for old, _ in changes}
    for old, new in [*changes, *(pair for pair in quick if pair[0].split("=")[0].strip() not in changed)]:
        assert old in text, old
        text = text.replace(old, new)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return folder / "study.toml"


def moons(file, number, first_jd_tdb, *, days):
    epochs = float(tdb_s_from_jd(first_jd_tdb)) + 3600.0 * np.arange(24.0 * days)
    states = np.hstack([np.full((len(epochs), 3), 1.0e6), np.zeros((len(epochs), 3))])
    spice.write_spk(file, [spice.SpkSegment(number, "moons", epochs, states)], window=4)


@pytest.fixture
def folder(tmp_path):
    moons(tmp_path / "early.bsp", 502, 2_464_900.5, days=2)
    moons(tmp_path / "others.bsp", 2_000_433, 2_464_900.5, days=2)
    (tmp_path / "text.bsp").write_text("no kernel\n", encoding="utf-8")
    return tmp_path


# (what is changed), key, what is found, what is expected: refused before anything is computed
REFUSED = [
    (given(body='"Europe"'), "approach[0].body", "Europe", "Europa?"),
    (given(altitudes_km="[100, 1.5]"), "approach[0].altitudes_km[1]", "1.5", "more than 2 km, the highest ground"),
    (given(altitudes_km="[-30]"), "approach[0].altitudes_km[0]", "-30", "greater than 0"),
    (given(altitudes_km="[nan]"), "approach[0].altitudes_km[0]", "nan", "a finite number"),
    (given(altitudes_km='["100 m"]'), "approach[0].altitudes_km[0]", "100 m", "a valid number"),
    (given(altitudes_km="[]"), "approach[0].altitudes_km", "[]", "at least 1"),
    (body("Titan"), "approach[0].altitudes_km[0]", "200", "that is an entry"),
    (body("Venus"), "approach[0].altitudes_km[0]", "200", "more than 200 km, where the atmosphere of Venus begins"),
    (
        given(release_days_before="[3.0]"), "approach[0].release_days_before[0]", "3",
        "at least 3.16667: probe.checkout_days and release_min_hours before closest approach",
    ),
    (given(clock_step_deg="0.1"), "approach[0].clock_step_deg", "0.1", "greater than or equal to 1"),
    (more(APPROACH, "passages = [0]"), "approach[0].passages", "0", "numbers from 1 on"),
    (more(APPROACH, "ephemeris_sigma_km = -1.0"), "approach[0].ephemeris_sigma_km", "-1", "greater than or equal to 0"),
    (more(APPROACH, "terrain_km = inf"), "approach[0].terrain_km", "inf", "a finite number"),
    (more(APPROACH, "terrain_km = 300.0"), "approach[0].altitudes_km[0]", "200", "more than 300 km"),
    (more(APPROACH, "altitude_km = [50]"), "approach[0].altitude_km", "not known", "altitudes_km?"),
    (more(APPROACH, 'kind = "skim"'), "approach[0].kind", "skim", "'low-pass', 'entry'"),
    (more(APPROACH, "interface_km = 100.0"), "approach[0].interface_km", "100", 'no such key with kind = "low-pass"'),
    (more(APPROACH, "periapsis_km = [100]"), "approach[0].periapsis_km", "a value", 'none with kind = "low-pass"'),
    (more(APPROACH, 'designs = ["eye"]'), "approach[0].designs[0]", "eye", 'a design that takes "low-pass": none'),
    (
        [(PROBE, '[[designs]]\nname = "eye"'), *FLYBYS],
        "approach[0].kind", "no design that takes it", '[[designs]] with takes = ["low-pass"]',
    ),
    (
        [(PROBE, f'{DESIGN}'), *more(APPROACH, 'designs = ["skimmer", "eye"]')],
        "approach[0].designs[1]", "eye", 'a design that takes "low-pass": skimmer',
    ),
    (
        [("{ Europa = 1e-4 }", "{ Vulcan = 1e-4 }")], "protection.impact_chance_max.Vulcan", "Vulcan",
        "One of: Mercury",
    ),
    ([("{ Europa = 1e-4 }", "{ Europa = -1e-4 }")], "protection.impact_chance_max.Europa", "-0.0001", "greater"),
    ([("{ Europa = 1e-4 }", "{ Europa = 2.0 }")], "protection.impact_chance_max.Europa", "2.0", "less than or equal"),
    ([("{ Europa = 1e-4 }", "{ Europa = nan }")], "protection.impact_chance_max.Europa", "nan", "a finite number"),
    ([(APPROACH, '[massive]\nspk = ["none.bsp"]\n[[approach]]')], "massive.spk[0]", "not there", "a file"),
    (
        [(APPROACH, '[massive]\ngravity = { Europa = "none.tab" }\n[[approach]]')], "massive.gravity.Europa", "a table",
        'none without an [[approach]] of kind "orbit"',
    ),
    (
        [(APPROACH, '[massive]\ngravity = { Vulcan = "none.tab" }\n[[approach]]')], "massive.gravity.Vulcan", "Vulcan",
        "One of: Mercury",
    ),
    (
        [('kind = "low-pass", body = "Europa", latitude_deg = [0, 90]', 'kind = "low-pass", latitude_deg = [90, 0]')],
        "science.rows[0].where.latitude_deg", "90, 0", "the southern latitude first",
    ),
    (
        [('body = "Europa", latitude_deg = [0, 90]', 'body = "Io"')], "science.rows[0].where.body", "Io",
        'the body of an [[approach]] with kind = "low-pass": Europa',
    ),
    (
        [("resolution_m_max = 10", "hours_below_min = 10")], "science.rows[0].where.hours_below_min", "10",
        'no such key with kind = "low-pass"',
    ),
    (
        [("resolution_m_max = 10", "count_sigma_min = 3")], "science.rows[0].where.count_sigma_min", "3",
        'an instrument of kind = "counter" in a design that takes "low-pass"',
    ),
    *(
        (instruments([NAME, *keys]), f"designs[0].instruments[0].{key}", found, said)
        for keys, key, found, said in (
            (['kind = "radar"'], "kind", "radar", "'camera', 'counter', 'field' or 'sampler'"),
            (["contrast = 0.0"], "contrast", "0.0", "greater than 0"),
            (["contrast = 2.0"], "contrast", "2.0", "less than or equal to 1"),
            (["counts_per_s = nan"], "counts_per_s", "nan", "a finite number"),
            (['kind = "field"', "radius_km = 3.0"], "radius_km", "3", "source_depth_km, source_nt, noise_nt"),
            (['kind = "sampler"', "speed_max_km_s = -1.0"], "speed_max_km_s", "-1", "greater than 0"),
            (["radius_m = 3.0"], "radius_m", "not known", "radius_km?"),
        )
    ),
    (
        more(APPROACH, 'steer = "carrier"\ndivert_after_days = 0.0'), "approach[0].divert_after_days", "0.0",
        "greater than 0",
    ),
    (
        [*more(APPROACH, 'steer = "carrier"\ndivert_after_days = 6.0'), *given(release_days_before="[20, 5]")],
        "approach[0].release_days_before[1]", "5", "more than divert_after_days, 6",
    ),
    (
        more(APPROACH, 'steer = "carrier"\ndivert_after_days = 8.0'), "approach[0].divert_after_days", "8",
        "at most constraints.release_spacing_days, 7",
    ),
    (
        more(APPROACH, "divert_after_days = 2.0"), "approach[0].divert_after_days", "2",
        'no such key with steer = "probe"',
    ),
    (more(APPROACH, 'steer = "spin"'), "mothership.spin_rpm", "nothing", 'with steer = "spin" needs it'),
    (
        [*more(APPROACH, 'steer = "spin"'), *more("[mothership]", "spin_rpm = 5.0")], "mothership.spin_radius_m",
        "nothing", 'with steer = "spin" needs it',
    ),
    (more(APPROACH, 'steer = "tug"'), "approach[0].steer", "tug", "'probe', 'carrier' or 'spin'"),
    (more("[mothership]", "divert_failure = 1.5"), "mothership.divert_failure", "1.5", "less than or equal to 1"),
    (more("[mothership]", "isp_s = 0.0"), "mothership.isp_s", "0.0", "greater than or equal to 1"),
    (more("[mothership]", "propellant_kg = -1.0"), "mothership.propellant_kg", "-1", "greater than or equal to 0"),
    (more("[mothership]", "propellant_kg = 901.0"), "mothership.propellant_kg", "901", "at most mothership.mass_kg"),
    (instruments([NAME], [NAME]), "designs[0].instruments[1].name", "n", "a name that no other instrument"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "key", "found", "expected"), REFUSED, ids=[f"{k}-{row[1]}" for k, row in enumerate(REFUSED)]
)
def test_what_the_study_file_cannot_say(folder, changes, key, found, expected):
    """Told by the reading of the file, which every command begins with."""
    file = study(folder, changes)
    with pytest.raises(InputError) as refusal:  # noqa: PT012
        read = read_study(file)
        require_files(read, file="study.toml")
        require_supported(read)
        require_searched(read)
    told = str(refusal.value)
    for text in (key, found, expected, "expected: "):
        assert text in told, (text, told)


def test_the_command_line_ends_with_two_and_makes_no_folder(folder):
    done = call("run", study(folder, given(altitudes_km="[100, 1.5]")), "--run", folder / "out")
    refused(done, 2, "approach[0].altitudes_km[1]", "1.5", "more than 2 km, the highest ground")
    assert not (folder / "out").exists()


# the same of what is only known once the mothership's path and the bodies' places are
UNKNOWN = [
    (
        more(APPROACH, "passages = [2]"), 2, "approach[0].passages", "2",
        "1 to 1: so often Europa is passed",
    ),
    (
        [(APPROACH, '[massive]\nspk = ["early.bsp"]\n[[approach]]')], 2, "massive.spk", "found:",
        "does not place Europa at all dates",
    ),
    ([(APPROACH, '[massive]\nspk = ["text.bsp"]\n[[approach]]')], 2, "text.bsp", "found:", "DAF SPK"),
    (
        [(APPROACH, '[massive]\nspk = ["others.bsp"]\n[[approach]]')], 2, "massive.spk[0]", "2000433",
        "a planet or moon by SPICE's number",
    ),
    (
        [*body("Enceladus"), (APPROACH, "[massive]\ntrue_ephemeris = true\n[[approach]]")], 2, "approach[0].body",
        "Enceladus, placed by a circle", "massive.spk",
    ),
    (body("Enceladus"), 3, "approach[0].body", "never passes Enceladus", "no nearer to Saturn than"),
    (body("Io"), 3, "approach[0].body", "never passes Io", "passed are Callisto, Europa, Jupiter"),
    (
        [("{ Europa = 1e-4 }", "{ Europa = 0.0 }")], 3, "protection.impact_chance_max", "none of which keeps",
        "the least found is",
    ),
    (
        [*more(APPROACH, 'steer = "carrier"'), *more("[mothership]", "propellant_kg = 1.0")], 3,
        "mothership.propellant_kg = 1", "the least takes", "kg",
    ),
    (given(burn_limit_m_s="0.5"), 3, "probe.burn_limit_m_s = 0.5", "the least takes", "m/s"),
    (
        given(release_days_before="[200]"), 3, "approach.release_days_before", "0 are met by some burn",
        "4 would be released before the path that leads here begins",
    ),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "status", "key", "found", "expected"),
    UNKNOWN,
    ids=[f"{k}-{row[2]}" for k, row in enumerate(UNKNOWN)],
)
def test_what_path_and_places_do_not_allow(folder, changes, status, key, found, expected):
    done = call("screen", study(folder, changes), "--run", folder / "out", "--workers", 1)
    refused(done, status, key, found, expected)


def refused(done, status, *said):
    told = done.stderr or done.output
    assert done.exit_code == status, told
    for text in said:
        assert text in told, (text, told)
    assert "Traceback" not in told
    assert re.search(r"expected: |limit: |do: ", told)


def test_a_list_whose_only_item_is_refused_is_not_called_too_short_as_well(tmp_path):
    told = call("check", str(study(tmp_path, given(release_days_before="[-3]"))))
    assert told.exit_code == 2
    assert "release_days_before[0]" in told.output
    assert "values cannot be used" not in told.output
