"""The package, read by readers of others and flown by an integrator of others; slips made on purpose are caught."""

import csv
import shutil
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pytest

from swarm.reach.mothership.from_oem import read_oem
from swarm.refine.dispersion import disperse, draws_of
from swarm.refine.handoff.listings import _TARGETS, _events, _target_rows
from swarm.refine.handoff.oem import date_text, oem_text
from swarm.refine.handoff.opm import read_opm
from swarm.refine.handoff.package import write_package
from swarm.refine.handoff.read_back import ReadBackDiffers, read_back
from swarm.refine.handoff.spk import MOTHERSHIP_ID, probe_id, states_of, target_id, write_spk
from swarm.refine.nbody import path, propagate
from swarm.refine.stretches import Stretch, paths_of, probe_stretches
from swarm.refine.whole_plan import FlownProbe
from targets.base.constants import DAY_S
from targets.base.frames import ecliptic_from_icrf
from targets.catalogue.bodies import Catalogue
from targets.catalogue.reading import read_catalogue
from targets.ephemeris.spice import spk_body
from tests.helpers.refined_arc import RELEASE_S, make_study

POSITION_KM, VELOCITY_KM_S = 1e-3, 1e-9


@pytest.fixture(scope="module")
def study():
    # light pressure off: an outside integrator has none
    return make_study(probe={"solar_area_m2": 0.0})


@pytest.fixture(scope="module")
def dark(field, arc, study):
    from swarm.refine.correct import refine_arc

    return refine_arc(study, field, arc)


@pytest.fixture(scope="module")
def flown(field, known, dark, study):
    spread = disperse(study, field, dark, known=known, full=False, draws=draws_of(1, 5, 100))
    return FlownProbe(dark, known, spread, spread)


@pytest.fixture(scope="module")
def bodies(study) -> Catalogue:
    return read_catalogue(study.catalogue, study.base).catalogue


@pytest.fixture(scope="module")
def package(field, arc, flown, study, bodies, tmp_path_factory):
    epochs = RELEASE_S + DAY_S * np.arange(-1.0, 230.0)
    back = propagate(field, arc.mothership, RELEASE_S, epochs[0])
    states = np.vstack([back, path(field, back[0], float(epochs[0]), epochs[1:])])
    names = ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")
    ship = pa.table(
        {"leg": np.zeros(len(epochs), dtype=np.int64), "t_tdb_s": epochs}
        | dict(zip(names, states.T.copy(), strict=True))
    )
    folder = tmp_path_factory.mktemp("package")
    paths = paths_of(field, [flown.made])
    return write_package(study, bodies, ship, [flown], paths, lost=[], folder=folder)


def test_everything_is_there_and_read_back(package):
    assert {"README.txt", "encounters.csv", "events.csv", "targets.csv", "plan.bsp", "probe_00.oem"} < set(
        package.files
    )
    assert {"probe_00_release.opm", "probe_00_after_burn.opm"} < set(package.files)
    assert package.worst_km < POSITION_KM
    assert package.worst_km_s < VELOCITY_KM_S


def truth(field, made, epochs):
    burn = made.arc.burn_tdb_s
    early = np.vstack(
        [propagate(field, made.released, made.arc.release_tdb_s, t) for t in epochs if t < burn]
    )
    late = np.vstack([propagate(field, made.after_burn, burn, t) for t in epochs if t > burn])
    return np.vstack([early, late])


@pytest.fixture(scope="module")
def places(dark):
    random = np.random.default_rng(4)
    burn = dark.arc.burn_tdb_s
    early = np.sort(random.uniform(dark.arc.release_tdb_s + 1.0, burn - 1.0, 50))
    return np.concatenate([early, np.sort(random.uniform(burn + 1.0, dark.encounter_tdb_s, 150))])


def test_oem_by_our_reader_and_spk_by_spice(package, field, dark, places):
    segments = read_oem(package.folder / "probe_00.oem").segments
    assert len(segments) == 2
    early = places < dark.arc.burn_tdb_s
    oem = np.vstack([segments[0].heliocentric(places[early]), segments[1].heliocentric(places[~early])])
    file, number = package.folder / "plan.bsp", probe_id(0)
    spk = np.vstack(
        [states_of(file, number, places[early], piece=0), states_of(file, number, places[~early], piece=1)]
    )
    expected = truth(field, dark, places)
    for found in (oem, spk):
        off = np.abs(found - expected)
        assert off[:, :3].max() < POSITION_KM
        assert off[:, 3:].max() < VELOCITY_KM_S


def seconds(text):
    """TDB s past J2000 of a date of the message."""
    from datetime import datetime

    return (datetime.fromisoformat(str(text)) - datetime(2000, 1, 1, 12)).total_seconds()


SLIPS = {"frame: ecliptic axes", "time scale: UTC", "unit: m", "mixed across the impulse"}


def slipped(parts, slip, dark):
    """What a writer with one slip would hold for the true stretches."""

    def ecliptic(part):
        x = part.states
        return replace(part, states=np.hstack([ecliptic_from_icrf(x[:, :3]), ecliptic_from_icrf(x[:, 3:])]))

    if slip == "mixed across the impulse":
        late = parts[1].states - np.concatenate([np.zeros(3), dark.burn_km_s])
        return [parts[0], replace(parts[1], states=late)]
    change = {
        "frame: ecliptic axes": ecliptic,
        # UTC is 69.184 s behind TDB since 2017
        "time scale: UTC": lambda part: replace(part, epochs_tdb_s=part.epochs_tdb_s - 69.184),
        "unit: m": lambda part: replace(part, states=1e3 * part.states),
    }[slip]
    return [change(part) for part in parts]


@pytest.fixture
def copy(package, tmp_path):
    """The package once more, to be spoilt."""
    for file in package.folder.iterdir():
        shutil.copy(file, tmp_path / file.name)
    return tmp_path


def test_an_untouched_copy_reads_back(copy, field, dark, flown):
    worst = read_back(copy, field, [flown], {0: probe_stretches(field, dark)})
    assert worst[0] < POSITION_KM


@pytest.mark.parametrize("slip", sorted(SLIPS))
@pytest.mark.parametrize("file", ["oem", "spk", "opm"])
def test_a_slip_of_the_writer_is_caught(copy, field, dark, flown, file, slip):
    parts = probe_stretches(field, dark)
    wrong = slipped(parts, slip, dark)
    if file == "oem":
        (copy / "probe_00.oem").write_text(
            oem_text("PROBE 00", wrong, creation_tdb_s=RELEASE_S), encoding="ascii"
        )
    elif file == "spk":
        respelled(copy / "plan.bsp", wrong)
    else:
        for name, part in zip(("release", "after_burn"), wrong, strict=True):
            message = copy / f"probe_00_{name}.opm"
            message.write_text(with_state(message.read_text(encoding="ascii"), part), encoding="ascii")
    with pytest.raises(ReadBackDiffers):
        read_back(copy, field, [flown], {0: parts})


def respelled(file, probe):
    """The SPK with its other bodies as they are and a probe's stretches replaced."""
    bodies = {probe_id(0): ("PROBE", probe)}
    for body in (MOTHERSHIP_ID, target_id(0)):
        with spk_body(file, body) as held:
            begin, end = held.pieces[0]
            epochs = np.linspace(begin, end, 400)
            bodies[body] = ("OTHER", [Stretch(epochs, held.states(epochs, held.pieces[0]))])
    write_spk(file, bodies)


def with_state(text, part):
    """A parameter message with epoch and state of the first node of a stretch."""
    words = ("X", "Y", "Z", "X_DOT", "Y_DOT", "Z_DOT")
    new = {"EPOCH": date_text(float(part.epochs_tdb_s[0]))} | {
        word: f"{value:.15g}" for word, value in zip(words, part.states[0], strict=True)
    }
    return "\n".join(
        f"{line.split(' = ')[0]} = {new[line.split(' = ')[0]]}" if line.split(" = ")[0] in new else line
        for line in text.splitlines()
    )


@pytest.mark.parametrize(
    ("file", "true", "said"),
    [
        ("probe_00.oem", "REF_FRAME = ICRF", "REF_FRAME = EME2000"),
        ("probe_00.oem", "TIME_SYSTEM = TDB", "TIME_SYSTEM = UTC"),
        ("probe_00_release.opm", "\nREF_FRAME = ICRF", "\nREF_FRAME = EME2000"),
        ("probe_00_release.opm", "TIME_SYSTEM = TDB", "TIME_SYSTEM = UTC"),
        ("probe_00_release.opm", "MAN_REF_FRAME = ICRF", "MAN_REF_FRAME = RTN"),
        ("probe_00_after_burn.opm", " [km]", " [m]"),
    ],
)
def test_a_label_that_says_something_else_is_caught(copy, field, dark, flown, file, true, said):
    text = (copy / file).read_text(encoding="ascii")
    assert true in text
    (copy / file).write_text(text.replace(true, said), encoding="ascii")
    with pytest.raises(ReadBackDiffers):
        read_back(copy, field, [flown], {0: probe_stretches(field, dark)})


@pytest.mark.parametrize("key", ["MAN_DV_2", "MAN_DELTA_MASS", "MAN_DURATION", "MASS", "CY_DOT_X"])
def test_a_number_in_another_unit_is_caught(copy, field, dark, flown, key):
    file = copy / "probe_00_release.opm"
    lines = file.read_text(encoding="ascii").splitlines()
    at = next(k for k, line in enumerate(lines) if line.startswith(f"{key} = "))
    lines[at] = f"{key} = {1e3 * float(lines[at].split()[2])!r}"
    file.write_text("\n".join(lines), encoding="ascii")
    with pytest.raises(ReadBackDiffers):
        read_back(copy, field, [flown], {0: probe_stretches(field, dark)})


def test_a_parameter_message_says_its_burn_and_covariance(package, dark, flown):
    release = read_opm(package.folder / "probe_00_release.opm")
    assert release.manoeuvre.delta_mass_kg < 0.0
    assert release.manoeuvre.duration_s > 0.0
    assert release.covariance == pytest.approx(flown.full.released_cov, rel=1e-9, abs=1e-18)
    assert read_opm(package.folder / "probe_00_after_burn.opm").manoeuvre is None


def test_dates_are_finer_than_a_julian_date():
    t = 983_361_600.123457
    assert date_text(t) == "2031-03-01T00:00:00.123457"
    assert seconds(date_text(t)) == pytest.approx(t, abs=2e-7)


def test_lines_are_short_and_plain(package):
    for file in package.folder.glob("*.o[ep]m"):
        lines = file.read_text(encoding="ascii").splitlines()
        assert max(map(len, lines)) <= 255


def rows_of(file):
    with file.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_events_hold_releases_burns_corrections_blackouts_and_tracking(
    field,
    arc,
    flown,
    package,
    study,
    tmp_path,
):
    events = rows_of(package.folder / "events.csv")
    kinds = [row["event"] for row in events]
    for event in ("release", "burn begins", "burn", "correction (from the ground)", "encounter"):
        assert event in kinds
    times = [float(row["tdb_s"]) for row in events]
    assert times == sorted(times)
    weeks = [float(row["hours"]) for row in events if row["event"] == "tracking of the week"]
    # release to a week after the encounter is 208 days; 4 h a week until a week before it, then 8 h a day for 14
    assert len(weeks) == 30
    assert sum(weeks) == pytest.approx(4.0 * 194.3 / 7.0 + 8.0 * 14.0, abs=1.0)
    rules = study.constraints.model_copy(update={"blackouts": ((2463000.5, 2463030.5),)})
    blacked = [row[2] for row in _events(study.model_copy(update={"constraints": rules}), [flown])]
    assert blacked.count("blackout begins") == blacked.count("blackout ends") == 1


def test_encounters_say_burn_aim_time_speed_and_distance(package, dark):
    (row,) = rows_of(package.folder / "encounters.csv")
    made = dark
    assert float(row["burn_m_s"]) == pytest.approx(1e3 * np.linalg.norm(made.burn_km_s), abs=1e-6)
    assert float(row["burn_change_m_s"]) == pytest.approx(
        1e3 * (np.linalg.norm(made.burn_km_s) - np.linalg.norm(made.arc.burn_km_s)), abs=1e-6
    )
    assert [float(row[name]) for name in ("aim_t_km", "aim_r_km")] == pytest.approx([300.0, -400.0])
    assert [float(row[name]) for name in ("b_t_km", "b_r_km")] == pytest.approx([300.0, -400.0], abs=1e-2)
    assert float(row["distance_km"]) == pytest.approx(500.0, abs=1e-2)
    assert float(row["v_rel_km_s"]) == pytest.approx(np.linalg.norm(made.v_rel_km_s), abs=1e-8)
    assert float(row["encounter_tdb_s"]) == pytest.approx(made.encounter_tdb_s, abs=1e-6)


def test_targets_freeze_solution_epoch_and_covariance(package, field, dark, study, flown, bodies):
    (row,) = rows_of(package.folder / "targets.csv")
    assert float(row["a_au"]) == bodies.a_au[0]
    assert float(row["epoch_jd_tdb"]) == bodies.epoch_jd_tdb[0]
    lower = np.array([float(row[f"cov_{part}_km2"]) for part in ("xx", "xy", "yy", "xz", "yz", "zz")])
    full = np.array(
        [[lower[0], lower[1], lower[3]], [lower[1], lower[2], lower[4]], [lower[3], lower[4], lower[5]]]
    )
    assert np.linalg.eigvalsh(full).min() > 0.0
    assert row["covariance_source"] == "uncertainty parameter U"
    assert row["cov_e__a_au"] == ""
    # with a covariance of the elements in the catalogue, that is what is frozen
    known_ = replace(
        bodies, element_covariance=np.tile(np.diag([1e-16, 1e-14, 1e-10, 1e-10, 1e-9, 1e-9]), (10, 1, 1))
    )
    cells = dict(zip(_TARGETS, _target_rows(study, known_, [flown])[0], strict=True))
    assert float(cells["cov_a_au__a_au"]) == 1e-16
    assert float(cells["cov_e__e"]) == 1e-14


def test_the_readme_says_what_it_should(package, dark):
    said = (package.folder / "README.txt").read_text(encoding="utf-8")
    for word in (
        "ICRF", "TDB", "DE440", "Relativity", "Solar pressure", "AFTER the spring", "FROZEN", "FREE",
        "against the table", "two-body motion puts it", "Sun 132712440041.279419", "authorities",
        date_text(dark.encounter_tdb_s),
    ):  # fmt: skip
        assert word in said
    assert max(map(len, said.splitlines())) <= 120


def test_messages_are_created_in_utc(package):
    """3 March 2031, 0 h TDB, is 69.184 s less: 37 s (IERS Bulletin C, since 2017) and 32.184 s (IAU 1991, A4)."""
    for file in package.folder.glob("*.o[ep]m"):
        lines = file.read_text(encoding="ascii").splitlines()
        assert "CREATION_DATE = 2031-03-02T23:58:51" in lines
        assert lines[0].endswith("_VERS = 3.0")
        assert "OBJECT_ID = UNKNOWN" in lines
