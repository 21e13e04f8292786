"""The package, read by readers of others and flown by an integrator of others; slips made on purpose are caught."""

import shutil
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pytest

from swarm.handoff.oem import date_text, oem_text
from swarm.handoff.package import ReadBackDiffers, _read_back, probe_stretches, write_package
from swarm.handoff.spk import probe_id, states_of, target_id
from swarm.mothership.oem import read_oem
from swarm.refine.dispersion import disperse, draws_of
from swarm.refine.nbody import path, propagate
from swarm.refine.plan import Flown
from targets.bodies import Catalogue
from targets.constants import DAY_S
from targets.frames import ecliptic_from_icrf
from tests.refine.conftest import RELEASE_S, arc, field, known, make_study  # noqa: F401

POSITION_KM, VELOCITY_KM_S = 1e-3, 1e-9


@pytest.fixture(scope="module")
def study():
    # light pressure off: an outside integrator has none
    return make_study(probe={"solar_area_m2": 0.0})


@pytest.fixture(scope="module")
def dark(field, arc, study):  # noqa: F811
    from swarm.refine.correct import refine_arc

    return refine_arc(study, field, arc)


@pytest.fixture(scope="module")
def package(field, arc, known, dark, study, tmp_path_factory):  # noqa: F811
    from targets.catalogue import read_catalogue

    draws = draws_of(1, 5, 100)
    spread = disperse(study, field, dark, known=known, full=False, draws=draws)
    flown = Flown(dark, known, spread, spread)
    epochs = RELEASE_S + DAY_S * np.arange(-1.0, 230.0)
    back = propagate(field, arc.carrier, RELEASE_S, epochs[0])
    states = np.vstack([back, path(field, back[0], float(epochs[0]), epochs[1:])])
    names = ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")
    ship = pa.table(
        {"leg": np.zeros(len(epochs), dtype=np.int64), "t_tdb_s": epochs}
        | dict(zip(names, states.T.copy(), strict=True))
    )
    bodies: Catalogue = read_catalogue(study.catalogue, study.base).catalogue
    folder = tmp_path_factory.mktemp("package")
    made = write_package(study, bodies, ship, [flown], lost=[], folder=folder)
    return made


def test_everything_is_there_and_read_back(package):
    assert {"README.txt", "encounters.csv", "events.csv", "targets.csv", "plan.bsp", "probe_00.oem"} < set(
        package.files
    )
    assert {"probe_00_release.opm", "probe_00_after_burn.opm"} < set(package.files)
    assert package.worst_km < POSITION_KM
    assert package.worst_km_s < VELOCITY_KM_S


def truth(field, made, epochs):  # noqa: F811
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


def test_oem_by_our_reader_and_spk_by_spice(package, field, dark, places):  # noqa: F811
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


@pytest.mark.crosscheck
def test_oem_nodes_by_an_outside_reader(package, field, dark):  # noqa: F811
    oem = pytest.importorskip("oem", reason="oem (extra `test`) is not installed")
    message = oem.OrbitEphemerisMessage.open(str(package.folder / "probe_00.oem"))
    assert len(message.segments) == 2
    for segment, start, begin in zip(
        message.segments,
        (dark.released, dark.after_burn),
        (dark.arc.release_tdb_s, dark.arc.burn_tdb_s),
        strict=True,
    ):
        assert segment.metadata["REF_FRAME"] == "ICRF"
        assert segment.metadata["TIME_SYSTEM"] == "TDB"
        for state in list(segment.states)[1::7]:
            t = (state.epoch.jd1 - 2451545.0 + state.epoch.jd2) * DAY_S
            expected = propagate(field, start, begin, t)[0]
            # a Julian date in two doubles is good to a nanosecond
            assert np.abs(state.position - expected[:3]).max() < POSITION_KM
            assert np.abs(state.velocity - expected[3:]).max() < VELOCITY_KM_S


@pytest.mark.crosscheck
def test_opm_by_an_outside_reader_flown_by_an_outside_integrator(package, dark, assist_states):
    ndm = pytest.importorskip("ccsds_ndm.ndm_io", reason="ccsds-ndm (extra `crosscheck`) is GPL")
    body = ndm.NdmIo().from_path(package.folder / "probe_00_release.opm").body.segment.data
    vector, burn = body.state_vector, body.maneuver_parameters[0]
    state = np.array([float(getattr(vector, n).value) for n in ("x", "y", "z", "x_dot", "y_dot", "z_dot")])
    ignition = seconds(burn.man_epoch_ignition) + 0.5 * float(burn.man_duration.value)
    there = assist_states(state[None], seconds(vector.epoch), ignition)[0]
    there[3:] += [float(getattr(burn, f"man_dv_{k}").value) for k in (1, 2, 3)]
    end = assist_states(there[None], ignition, dark.encounter_tdb_s)[0]
    target = states_of(package.folder / "plan.bsp", target_id(0), np.array([dark.encounter_tdb_s]), piece=0)[
        0
    ]
    from swarm.arcs.bplane import b_vector_km

    relative = end - target
    found = b_vector_km(relative[:3], relative[3:])[0]
    assert np.linalg.norm(found - dark.arc.aim_km) < 10.0


def seconds(text):
    """TDB s past J2000 of a date of the message."""
    from datetime import datetime

    return (datetime.fromisoformat(str(text)) - datetime(2000, 1, 1, 12)).total_seconds()


@pytest.mark.parametrize("slip", ["frame", "time scale", "unit", "mixed across the impulse"])
def test_a_slip_is_caught(package, field, dark, tmp_path, slip):  # noqa: F811
    for file in package.folder.iterdir():
        shutil.copy(file, tmp_path / file.name)
    parts = probe_stretches(field, dark)
    wrong = {
        "frame": [
            replace(
                p,
                states=np.hstack([ecliptic_from_icrf(p.states[:, :3]), ecliptic_from_icrf(p.states[:, 3:])]),
            )
            for p in parts
        ],
        "time scale": [replace(p, epochs_tdb_s=p.epochs_tdb_s - 69.184) for p in parts],
        "unit": [replace(p, states=1e3 * p.states) for p in parts],
        "mixed across the impulse": [
            parts[0],
            replace(parts[1], states=parts[1].states - np.concatenate([np.zeros(3), dark.burn_km_s])),
        ],
    }[slip]
    text = oem_text("PROBE 00", "X", wrong, creation_tdb_s=RELEASE_S)
    (tmp_path / "probe_00.oem").write_text(text, encoding="ascii")
    with pytest.raises(ReadBackDiffers):
        _read_back(tmp_path, field, [dark], {0: parts})


def test_dates_are_finer_than_a_julian_date():
    t = 983_361_600.123457
    assert date_text(t) == "2031-03-01T00:00:00.123457"
    assert seconds(date_text(t)) == pytest.approx(t, abs=2e-7)


def test_lines_are_short_and_plain(package):
    for file in package.folder.glob("*.o[ep]m"):
        lines = file.read_text(encoding="ascii").splitlines()
        assert max(map(len, lines)) <= 255


def test_the_tables_and_the_readme_say_what_they_should(package):
    events = (package.folder / "events.csv").read_text(encoding="utf-8")
    for event in ("release", "burn", "correction", "encounter", "tracking of the week"):
        assert f",{event}" in events
    said = (package.folder / "README.txt").read_text(encoding="utf-8")
    for word in ("ICRF", "TDB", "DE440", "AFTER the spring", "FROZEN", "FREE", "against the table"):
        assert word in said
