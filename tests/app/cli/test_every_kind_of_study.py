"""Every kind of mothership and every format of catalogue, from the study file to the page, in small.

Bodies are made that meet the mothership's path, so that a dozen of them are enough for a whole run.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from swarm.reach.opportunities import read_mothership
from swarm.run.folder import Run
from swarm.study.schema import read_study
from targets.base.constants import AU_KM, DAY_S
from targets.base.frames import ecliptic_from_icrf
from targets.base.timescale import iso_of_tdb_s, jd_from_tdb_s, parse_tdb_jd, tdb_s_from_jd
from targets.ephemeris.spice import SpkSegment, write_spk
from targets.motion.twobody import drift_states, elements_from_states

START, END = "2031-03-01 TDB", "2032-09-01 TDB"
START_TDB_S, END_TDB_S = (float(tdb_s_from_jd(parse_tdb_jd(date))) for date in (START, END))
BODIES = 12

STUDY = """
[study]
name = "in small"
start = "{start}"
end = "{end}"
[catalogue]
{catalogue}
[mothership]
mass_kg = 600.0
{mothership}
[probe]
count = 2
wet_mass_kg = 12.0
burn_limit_m_s = 1200.0
[search]
arc_max_days = 200.0
slot_days = 60.0
revolutions_max = 0
[[science.rows]]
name = "any"
baseline = 2
[optimize]
islands = 1
population = 8
epochs = 1
generations_per_epoch = 2
levels = 2
polish_steps = 1
constraint_costs = false
[delivery]
samples = 100
[refine]
linear_samples = 100
full_samples = 10
recontact_samples = 1
impact_samples = 1
impact_years = 1.0
earth_years = 1.0
"""
ELEMENTS = """kind = "elements"
epoch = "2031-03-01 TDB"
a_au = 2.3
e = 0.1
i_deg = 8.0
node_deg = 40.0
argp_deg = 120.0
mean_anomaly_deg = 15.0
motion = "{motion}"
"""
# Earth, Mars, Earth: the flyby of Mars lies inside the study.
LEGS = """kind = "legs"
legs = [
    { body = "Earth", date = "2031-01-25 TDB" },
    { body = "Mars", date = "2031-11-15 TDB" },
    { body = "Earth", date = "2033-11-01 TDB" },
]
"""


# --- what is written for a study ----------------------------------------------------------------------------


def path_states(folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Epochs TDB s and heliocentric ICRF states of the mothership by elements, for files of ephemerides."""
    epochs = np.linspace(START_TDB_S - DAY_S, END_TDB_S + DAY_S, 400)
    (leg,) = read_mothership(study_of(folder, ELEMENTS.format(motion="kepler"))).legs
    state = leg.at(np.array([START_TDB_S]))
    repeated = np.broadcast_to(state, (len(epochs), 6))
    return epochs, np.hstack(drift_states(repeated[:, :3], repeated[:, 3:], epochs - START_TDB_S))


def by_oem(folder: Path) -> str:
    epochs, states = path_states(folder)
    dates = [iso_of_tdb_s(t, 3).removesuffix(" TDB") for t in epochs]
    lines = [
        "CCSDS_OEM_VERS = 2.0", "CREATION_DATE = 2031-01-01T00:00:00", "ORIGINATOR = TEST", "META_START",
        "OBJECT_NAME = MOTHERSHIP", "OBJECT_ID = 2031-001A", "CENTER_NAME = SUN", "REF_FRAME = ICRF",
        "TIME_SYSTEM = TDB", f"START_TIME = {dates[0]}", f"STOP_TIME = {dates[-1]}",
        "INTERPOLATION = HERMITE", "INTERPOLATION_DEGREE = 7", "META_STOP",
    ]  # fmt: skip
    for date, state in zip(dates, states, strict=True):
        lines.append(date + "".join(f" {value:.12e}" for value in state))
    (folder / "ship.oem").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return 'kind = "oem"\nfile = "ship.oem"\n'


def by_spk(folder: Path) -> str:
    epochs, states = path_states(folder)
    write_spk(folder / "ship.bsp", [SpkSegment(-999, "MOTHERSHIP", epochs, states)], window=4)
    return 'kind = "spk"\nfile = "ship.bsp"\nspk_id = -999\n'


MOTHERSHIPS = {
    "elements": lambda folder: ELEMENTS.format(motion="perturbed"),
    "kepler": lambda folder: ELEMENTS.format(motion="kepler"),
    "legs": lambda folder: LEGS,
    "oem": by_oem,
    "spk": by_spk,
}


def study_of(folder: Path, mothership: str, catalogue: str = 'format = "invented"\nbodies = 10') -> Any:
    path = folder / "study.toml"
    text = STUDY.format(start=START, end=END, mothership=mothership, catalogue=catalogue)
    path.write_text(text, encoding="utf-8")
    return read_study(path)


def bodies_met(folder: Path, mothership: str) -> list[dict[str, float]]:
    """Elements at study.start (au, deg, ecliptic J2000) of bodies that pass the mothership at a few km/s."""
    legs = read_mothership(study_of(folder, mothership)).legs
    states = []
    for tdb_s in np.linspace(START_TDB_S + 150.0 * DAY_S, END_TDB_S - 20.0 * DAY_S, BODIES):
        for leg in legs:
            if leg.epochs_tdb_s[0] < tdb_s < leg.epochs_tdb_s[-1]:
                met = leg.at(np.array([tdb_s]))[0]
                met[3:] += (1.0, -1.5, 2.0)
                r_km, v_km_s = drift_states(met[:3], met[3:], START_TDB_S - tdb_s)
                states.append(np.hstack([r_km, v_km_s])[0])
    turned = ecliptic_from_icrf(np.array(states).reshape(-1, 2, 3))
    a_km, e, i, node, peri, true = elements_from_states(turned[:, 0], turned[:, 1])
    eccentric = 2.0 * np.arctan2(np.sqrt(1.0 - e) * np.sin(true / 2.0), np.sqrt(1.0 + e) * np.cos(true / 2.0))
    mean = np.mod(eccentric - e * np.sin(eccentric), 2.0 * math.pi)
    columns = {"a": a_km / AU_KM, "e": e} | {
        name: np.degrees(angle) for name, angle in (("i", i), ("node", node), ("peri", peri), ("m", mean))
    }
    return [{name: float(values[k]) for name, values in columns.items()} for k in range(len(e))]


def as_own(bodies: Sequence[dict[str, float]]) -> str:
    lines = ["target,epoch_jd_tdb,a_au,e,i_deg,node_deg,argp_deg,mean_anomaly_deg,h_mag,u_code"]
    epoch = float(jd_from_tdb_s(START_TDB_S))
    for k, b in enumerate(bodies, start=1):
        lines.append(f"{k},{epoch},{b['a']},{b['e']},{b['i']},{b['node']},{b['peri']},{b['m']},15.0,1")
    return "\n".join(lines) + "\n"


def as_mpc_json(bodies: Sequence[dict[str, float]]) -> str:
    epoch = float(jd_from_tdb_s(START_TDB_S))
    rows = [
        {"Number": f"({k})", "Principal_desig": "2031 AA1", "Epoch": epoch, "a": b["a"], "e": b["e"], "i": b["i"],
         "Node": b["node"], "Peri": b["peri"], "M": b["m"], "H": 15.0, "G": 0.15, "U": "1"}
        for k, b in enumerate(bodies, start=1)
    ]  # fmt: skip
    return json.dumps(rows)


def as_mpcorb(bodies: Sequence[dict[str, float]]) -> str:
    """Columns of the Minor Planet Center's page on its orbit format; K3131 is 2031 March 1."""
    lines = ["A HEADER", "-" * 160]
    for k, b in enumerate(bodies, start=1):
        lines.append(
            f"{k:05d}   15.00  0.15 K3131 {b['m']:9.5f}  {b['peri']:9.5f}  {b['node']:9.5f}  {b['i']:9.5f}  "
            f"{b['e']:9.7f} {0.98560767 / b['a'] ** 1.5:11.8f} {b['a']:11.7f}  1 MPO 1        12   3 2001-2020 "
            f"0.50 M-v 3Ek Nobody     0000 {f'({k}) Madeup':<28}20200101"
        )
    return "\n".join(lines) + "\n"


def sbdb_rows(bodies: Sequence[dict[str, float]]) -> list[dict[str, str]]:
    epoch = float(jd_from_tdb_s(START_TDB_S))
    return [
        {"pdes": str(k), "full_name": f"{k} Madeup (2031 AA1)", "epoch": str(epoch), "a": str(b["a"]),
         "e": str(b["e"]), "i": str(b["i"]), "om": str(b["node"]), "w": str(b["peri"]), "ma": str(b["m"]),
         "H": "15.0", "G": "0.15", "condition_code": "1"}
        for k, b in enumerate(bodies, start=1)
    ]  # fmt: skip


def as_sbdb_csv(bodies: Sequence[dict[str, float]]) -> str:
    rows = sbdb_rows(bodies)
    return "\n".join([",".join(rows[0]), *(",".join(row.values()) for row in rows)]) + "\n"


def as_sbdb_json(bodies: Sequence[dict[str, float]]) -> str:
    rows = sbdb_rows(bodies)
    signature = {"source": "NASA/JPL SBDB (Small-Body DataBase) Query API", "version": "1.0"}
    data = [list(row.values()) for row in rows]
    return json.dumps({"signature": signature, "fields": list(rows[0]), "count": len(rows), "data": data})


FORMATS = {
    "own": as_own, "mpc-json": as_mpc_json, "mpcorb": as_mpcorb, "sbdb-csv": as_sbdb_csv, "sbdb-json": as_sbdb_json,
}  # fmt: skip


# --- whole runs ---------------------------------------------------------------------------------------------


@pytest.fixture
def whole_run(swarm, tmp_path):
    """Run a study to its page; the run."""

    def run(mothership: str, catalogue: str) -> Run:
        study_of(tmp_path, mothership, catalogue)
        result = swarm("run", tmp_path / "study.toml", "--run", tmp_path / "out", "--workers", 1)
        assert result.exit_code == 0, result.stderr + result.stdout
        assert (tmp_path / "out" / "report.html").is_file()
        made = Run.open(tmp_path / "out")
        two_body = (
            'motion = "kepler"' in mothership
        )  # on no path that can be flown: said, neither refined nor handed over
        assert (tmp_path / "out" / "handoff" / "README.txt").is_file() != two_body
        assert any("two" in text or "kepler" in text for text in made.manifest["warnings"]) == two_body
        return made

    return run


def catalogue_file(folder: Path, form: str, mothership: str) -> str:
    (folder / "bodies").write_text(FORMATS[form](bodies_met(folder, mothership)), encoding="utf-8")
    return f'format = "{form}"\nfile = "bodies"'


@pytest.mark.parametrize("kind", MOTHERSHIPS)
def test_a_whole_run_with_each_kind_of_mothership(whole_run, tmp_path, kind):
    mothership = MOTHERSHIPS[kind](tmp_path)
    run = whole_run(mothership, catalogue_file(tmp_path, "own", mothership))
    assert run.read_table("targets").num_rows >= 5
    if kind == "legs":
        (flyby,) = run.manifest["notes"]["mothership"]["flybys"]
        assert flyby["body"] == "Mars"
        assert len(flyby["v_inf_in_km_s"]) == 3


@pytest.mark.parametrize("form", FORMATS)
def test_a_whole_run_with_each_format_of_catalogue(whole_run, tmp_path, form):
    mothership = ELEMENTS.format(motion="kepler")
    run = whole_run(mothership, catalogue_file(tmp_path, form, mothership))
    assert run.read_table("targets").num_rows >= 5


def test_a_whole_run_among_invented_bodies(whole_run):
    run = whole_run(ELEMENTS.format(motion="kepler"), 'format = "invented"\nbodies = 3000')
    assert run.read_table("targets").num_rows >= 1
