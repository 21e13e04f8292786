"""The package of low passes by what its reader has: outside readers, SPICE, an integration."""

import csv
import hashlib
import itertools
import shutil
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import spiceypy

from swarm.encounter.error_model import errors_of
from swarm.encounter.pass_delivery import start_covariances
from swarm.reach.approach.field import PlanetField
from swarm.refine.handoff.opm import read_opm
from swarm.refine.handoff.pass_messages import SPK, write_passes
from swarm.refine.handoff.pass_read_back import read_back_pass, read_segments
from swarm.refine.handoff.read_back import ReadBackDiffers
from swarm.refine.handoff.spk import WINDOW, probe_id
from swarm.refine.pass_path import field_of_pass, path_of_pass
from swarm.study.schema import Study
from targets.base.constants import DAY_S
from targets.ephemeris import spice
from targets.masses.massive import mass_named
from targets.masses.where import Ephemeris
from tests.helpers.flown_about_planets import closest_approach
from tests.helpers.skimming import demonstration, screened
from tests.helpers.text_pck import turning_by_spice

SORREL = demonstration("sorrel", altitudes_km="[200]", release_days_before="[20]", clock_step_deg="60")
HAREBELL = demonstration(
    "harebell", bodies="10", altitudes_km="[1500]", release_days_before="[150]", clock_step_deg="90",
    burn_limit_m_s="600.0",
)  # fmt: skip


@dataclass(frozen=True)
class Handed:
    """A package of one pass, as probe 3."""

    study: Study
    row: dict
    folder: Path
    field: PlanetField
    ephemeris: Ephemeris

    @property
    def segments(self):
        return read_segments(self.folder / "probe_03_pass.oem")

    @property
    def listed(self):
        return next(csv.DictReader((self.folder / "passes.csv").read_text(encoding="utf-8").splitlines()))

    def read_back(self, folder):
        spk = folder / SPK
        return read_back_pass(folder, 3, self.row, self.field, self.ephemeris, spk=spk)


def handed(folder, text, ephemeris=None):
    study, rows = screened(folder, text)
    ephemeris, package = ephemeris or Ephemeris(), folder / "handoff"
    write_passes(study, [(3, rows[0])], package, ephemeris=ephemeris)
    return Handed(study, rows[0], package, field_of_pass(rows[0], ephemeris), ephemeris)


@pytest.fixture(scope="module")
def of_moon(tmp_path_factory):
    return handed(tmp_path_factory.mktemp("moon"), SORREL)


@pytest.fixture(scope="module")
def of_planet(tmp_path_factory):
    return handed(tmp_path_factory.mktemp("planet"), HAREBELL)


@pytest.fixture
def furnished(of_moon, tmp_path):
    """SPICE with the package's file and the turning of bodies, and nothing else of this product's."""
    with turning_by_spice(tmp_path / "turning.tpc"):
        spiceypy.furnsh(str(of_moon.folder / SPK))
        yield
        spiceypy.unload(str(of_moon.folder / SPK))


def test_files(of_moon, of_planet):
    common = {"passes.bsp", "passes.csv", "PASSES.txt", "probe_03_pass.oem"}
    common |= {f"probe_03_pass_{which}.opm" for which in ("release", "after_burn")}
    assert {file.name for file in of_planet.folder.iterdir()} == common
    assert {file.name for file in of_moon.folder.iterdir()} == common | {"probe_03_europa.oem"}


def test_segments_change_their_centre(of_moon, of_planet):
    """A segment each side of the impulse and of every change of centre; the next begins where the last ended."""
    assert [each.center for each in of_moon.segments] == ["JUPITER", "JUPITER", "EUROPA", "JUPITER"]
    assert [each.center for each in of_planet.segments] == ["SUN", "SUN", "JUPITER"]
    for package in (of_moon, of_planet):
        parts = [each.stretch.epochs_tdb_s for each in package.segments]
        assert all(a[-1] == b[0] for a, b in itertools.pairwise(parts))
        assert parts[1][0] == pytest.approx(package.row["burn_tdb_s"], abs=1e-6)


def date_of(said):
    return spiceypy.str2et(f"{said['closest_tdb'].replace('T', ' ')} TDB")


@pytest.mark.crosscheck
def test_an_outside_reader_joins_the_segments(of_moon):
    """`oem` reads them; about the planet, with the moon's own message, a probe goes on where it was: to a metre."""
    oem = pytest.importorskip("oem", reason="oem (extra `test`) is not installed")
    time = pytest.importorskip("astropy.time", reason="astropy comes with oem")
    message = oem.OrbitEphemerisMessage.open(str(of_moon.folder / "probe_03_pass.oem"))
    moon = oem.OrbitEphemerisMessage.open(str(of_moon.folder / "probe_03_europa.oem"))
    assert moon.segments[0].metadata["CENTER_NAME"] == "JUPITER"

    def numbers(read):
        return np.concatenate([read.position, read.velocity])

    centers = [segment.metadata["CENTER_NAME"] for segment in message.segments]
    assert centers == [each.center for each in of_moon.segments]
    for k, sign in ((1, -1.0), (2, 1.0)):
        t = of_moon.segments[k + 1].stretch.epochs_tdb_s[0]
        begins, ends = (list(message.segments[j].states) for j in (k + 1, k))
        step = numbers(begins[0]) - numbers(ends[-1])
        at = time.Time(2_451_545.0, t / DAY_S, format="jd", scale="tdb")
        europa = sign * numbers(moon.segments[0](at))
        assert np.abs(step - europa)[:3].max() < 1e-3
        # the field joins its nodes of the moon by cubics: seen 0.8 mm/s
        assert np.abs(step - europa)[3:].max() < 2e-6


def test_spice_finds_the_pass_of_the_table(of_moon, furnished):
    """By its own chain of centres, its own closest approach, its own ellipsoid and turning: 10 m, 1e-4 deg."""
    said = of_moon.listed
    probe, body = int(said["probe_spk_id"]), int(said["body_spk_id"])
    met = date_of(said)
    relative = spiceypy.spkgeo(probe, met, "J2000", body)[0]
    # the range turns there, to a hundredth of a second
    assert abs(relative[:3] @ relative[3:]) / (relative[3:] @ relative[3:]) < 0.01
    fixed = spiceypy.tipbod("J2000", body, met) @ relative[:3]
    europa = mass_named("Europa")
    longitude, latitude, height = spiceypy.recgeo(
        fixed, europa.radius_km, 1.0 - europa.polar_radius_km / europa.radius_km
    )
    assert float(said["altitude_km"]) == pytest.approx(height, abs=0.01)
    assert float(said["latitude_deg"]) == pytest.approx(np.degrees(latitude), abs=1e-4)
    assert float(said["longitude_e_deg"]) == pytest.approx(np.degrees(longitude) % 360.0, abs=1e-4)
    assert float(said["periapsis_speed_km_s"]) == pytest.approx(np.linalg.norm(relative[3:]), abs=1e-5)
    # |B| = r sqrt(1 + 2 mu/(r v_inf^2)) of a hyperbola, closed form; flown beside Jupiter
    r, v = float(np.linalg.norm(relative[:3])), float(said["v_inf_km_s"])
    aim = np.hypot(float(said["b_t_km"]), float(said["b_r_km"]))
    assert aim == pytest.approx(r * np.sqrt(1.0 + 2.0 * europa.gm_km3_s2 / (r * v * v)), abs=0.1)


def test_the_height_handed_over_is_flown_by_an_own_integration(of_moon, furnished):
    """From the SPK's state two days before, scipy's integrator and a plain right-hand side: 0.1 km, 0.1 s."""
    said = of_moon.listed
    met = date_of(said)
    begin = met - 2.0 * DAY_S
    start = spiceypy.spkgeo(int(said["probe_spk_id"]), begin, "J2000", 599)[0]
    distance, epoch, _ = closest_approach(
        np.array(start), begin, met + DAY_S, mass_named("Jupiter"), mass_named("Europa")
    )
    there = spiceypy.spkgeo(int(said["probe_spk_id"]), met, "J2000", int(said["body_spk_id"]))[0]
    assert distance == pytest.approx(np.linalg.norm(there[:3]), abs=0.1)
    assert epoch == pytest.approx(met, abs=0.1)


def test_parameter_messages_carry_the_burn_and_what_is_not_known(of_moon, of_planet):
    for package, center in ((of_moon, "JUPITER"), (of_planet, "SUN")):
        release, burnt = (
            read_opm(package.folder / f"probe_03_pass_{which}.opm", center=center)
            for which in ("release", "after_burn")
        )
        row, alone = package.row, package.study.of_design(package.row.get("design") or "probe")
        burn = 1e-3 * np.array([row[f"burn_{axis}_m_s"] for axis in "xyz"])
        assert release.manoeuvre.dv_km_s == pytest.approx(burn, abs=1e-11)
        assert release.mass_kg == alone.probe.wet_mass_kg
        # rocket equation, g0 = 9.80665 m/s^2 (SI brochure)
        left = alone.probe.wet_mass_kg * np.exp(-1e3 * np.linalg.norm(burn) / (9.80665 * alone.probe.isp_s))
        assert burnt.mass_kg == pytest.approx(left, abs=1e-5)
        assert release.manoeuvre.delta_mass_kg == pytest.approx(left - release.mass_kg, abs=1e-5)
        flow = alone.probe.thrust_n / (9.80665 * alone.probe.isp_s)
        assert release.manoeuvre.duration_s == pytest.approx((release.mass_kg - left) / flow, rel=1e-4)
        # carried to the B-plane, the covariance is that of the delivery before corrections
        by_burn = np.array(row["by_burn"]).reshape(2, 6)
        checkout_s = DAY_S * (row["burn_jd_tdb"] - row["release_jd_tdb"])
        _, judged = start_covariances(by_burn, burn, checkout_s, errors_of(alone))
        assert by_burn @ burnt.covariance @ by_burn.T == pytest.approx(judged, rel=1e-6)


def test_readme_names_what_a_pass_rests_on(of_moon, of_planet):
    text = (of_moon.folder / "PASSES.txt").read_text(encoding="utf-8")
    assert "Europa: GM 3202.71" in text
    assert "place by L1.2 series (Lainey et al. 2006), to 300 km" in text
    assert "Jupiter: GM 1266865" in text
    assert "disposal is not planned here" in text
    assert "licensed practice" in text
    assert "disposal" not in (of_planet.folder / "PASSES.txt").read_text(encoding="utf-8")


def test_a_moon_of_the_studys_own_file_is_named_with_its_sum(tmp_path):
    """What is handed over is read back with the file's moon, and the file's SHA-256 stands there."""
    study, rows = screened(tmp_path, SORREL)
    series, met = Ephemeris(), rows[0]["encounter_tdb_s"]
    epochs = np.arange(met - 25.0 * DAY_S, met + 5.0 * DAY_S, 1800.0)
    file, europa = tmp_path / "moons.bsp", mass_named("Europa")
    spice.write_spk(
        file, [spice.SpkSegment(502, "EUROPA", epochs, series.about_sun(europa, epochs))], window=WINDOW
    )
    write_passes(study, [(0, rows[0])], tmp_path / "out", ephemeris=Ephemeris([file]))
    text = (tmp_path / "out" / "PASSES.txt").read_text(encoding="utf-8")
    assert f"moons.bsp: sha256 {hashlib.sha256(file.read_bytes()).hexdigest()}" in text
    assert "place by moons.bsp" in text


# --- damage --------------------------------------------------------------------------------------------------


def in_line(file, begins, change, *, which=0):
    """Change the which-th line that begins so."""
    lines = file.read_text(encoding="ascii").splitlines()
    k = [k for k, line in enumerate(lines) if line.startswith(begins)][which]
    lines[k] = change(lines[k])
    file.write_text("\n".join(lines) + "\n", encoding="ascii")


def other_center(folder):
    in_line(
        folder / "probe_03_pass.oem", "CENTER_NAME = EUROPA", lambda line: line.replace("EUROPA", "JUPITER")
    )


def a_metre_beside(folder):
    def moved(line):
        date, x, *rest = line.split()
        return " ".join([date, f"{float(x) + 0.03:.9f}", *rest])

    in_line(folder / "probe_03_pass.oem", "2036-11-02T", moved, which=40)


def burn_turned(folder):
    in_line(
        folder / "probe_03_pass_release.opm", "MAN_DV_2",
        lambda line: line.replace("= -", "= ") if "= -" in line else line.replace("= ", "= -"),
    )  # fmt: skip


def ignited_late(folder):
    """A day late."""

    def late(line):
        day = int(line.split("T")[-2][-2:])
        return line.replace(f"-{day:02d}T", f"-{day + 1:02d}T")

    in_line(folder / "probe_03_pass_release.opm", "MAN_EPOCH_IGNITION", late)


def about_the_sun(folder):
    in_line(
        folder / "probe_03_pass_after_burn.opm", "CENTER_NAME", lambda line: line.replace("JUPITER", "SUN")
    )


def no_message(folder):
    (folder / "probe_03_pass_after_burn.opm").unlink()


def cut_off(folder):
    file = folder / "probe_03_pass.oem"
    file.write_text(file.read_text(encoding="ascii")[:60_000], encoding="ascii")


@pytest.mark.parametrize(
    "damage", [other_center, a_metre_beside, burn_turned, ignited_late, about_the_sun, no_message, cut_off]
)
def test_planted_damage_is_found(of_moon, tmp_path, damage):
    folder = tmp_path / "copy"
    shutil.copytree(of_moon.folder, folder)
    of_moon.read_back(folder)
    damage(folder)
    with pytest.raises(ReadBackDiffers):
        of_moon.read_back(folder)


def test_a_moon_that_is_not_the_one_used_is_found(of_moon, tmp_path):
    """The SPK written again with the moon 20 m beside: probes about it are 20 m beside about the Sun."""
    folder = tmp_path / "copy"
    shutil.copytree(of_moon.folder, folder)
    path = path_of_pass(of_moon.row, of_moon.field, of_moon.ephemeris)
    numbers = {"JUPITER": 599, "EUROPA": 502}
    beside = path.moon.states + np.array([0.02, 0.0, 0.0, 0.0, 0.0, 0.0])
    segments = [
        spice.SpkSegment(
            probe_id(3), "PROBE", each.stretch.epochs_tdb_s, each.stretch.states, numbers[each.center]
        )
        for each in path.whole
    ]
    segments += [
        spice.SpkSegment(599, "JUPITER", path.planet.epochs_tdb_s, path.planet.states),
        spice.SpkSegment(502, "EUROPA", path.moon.epochs_tdb_s, beside, 599),
    ]
    spice.write_spk(folder / SPK, segments, window=WINDOW)
    with pytest.raises(ReadBackDiffers, match="20 m"):
        of_moon.read_back(folder)


def test_a_pass_lower_than_the_table_says_is_found(of_moon):
    lower = {**of_moon.row, "altitude_km": of_moon.row["altitude_km"] + 0.05}
    with pytest.raises(ReadBackDiffers, match="in the table"):
        read_back_pass(of_moon.folder, 3, lower, of_moon.field, of_moon.ephemeris, spk=of_moon.folder / SPK)
