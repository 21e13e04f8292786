"""A run folder made by hand, of any size: every table the page can draw, with numbers of many digits."""

import numpy as np
import pyarrow as pa

from swarm.run.folder import Run
from targets.base.constants import AU_KM
from targets.catalogue.invented import invented_belt
from tests.helpers.places import FIREWEED
from tests.helpers.written import write_some

START = 2462926.5  # 2031-03-01 TDB, the start of the study
HOSTILE = "</script><script>alert(1)</script>"
HOSTILE_NAME = '"><img src=x onerror=alert(2)>&amp;\u2028'
RIGHT_TO_LEFT = "\u202e\u200fgnirts\u202c $x_1$ 'quoted' \\"
LONG = "x" * 296 + "<b>&"
HOSTILE_TARGETS = (HOSTILE, RIGHT_TO_LEFT, LONG)


def make_run(folder, *, plans=6, targets=6, probes=4, chosen=2, every_table=True, named=HOSTILE_TARGETS):
    """A run whose first three targets are `named`, hostile as names can be; plan k flies min(k, probes) probes."""
    rng = np.random.default_rng(8)
    run = Run.create(folder, FIREWEED)
    belt = invented_belt(targets, 1)
    belt.target[:3] = named
    belt.name[0] = HOSTILE_NAME
    belt.taxonomy[:2] = ("C", "S")
    write_some(run, "targets", belt.to_table())
    angle = np.linspace(0.0, 6.0, 200)
    circle = {"x_km": 2 * AU_KM * np.cos(angle), "y_km": 2 * AU_KM * np.sin(angle), "z_km": 0.0 * angle}
    write_some(run, "mothership", pa.table({"t_jd_tdb": START + 9.0 * np.arange(200.0), **circle}))
    opportunities = _opportunities(belt, rng)
    write_some(run, "opportunities", opportunities)
    write_some(run, "judged", _judged(opportunities, rng))
    front, rows = _plans(opportunities, plans, probes, rng)
    write_some(run, "front", front)
    write_some(run, "plans", rows)
    if every_table:
        _write_rest(run, opportunities, front, rows, chosen=chosen, rng=rng)
    run.note("catalogue", {"bodies": 200000, "rules": [HOSTILE]})
    run.note("summary", {
        "rule": "knee", "plan": chosen, "targets": targets, "opportunities": opportunities.num_rows,
        "front": ["least propellant  plan 0"], "bounded": 30, "rule_met": True,
    })  # fmt: skip
    return run


def _opportunities(belt, rng):
    n = 3 * len(belt)
    release = START + 20.0 + 1400.0 * np.sort(rng.random(n))
    columns = {
        "opportunity": np.arange(n) * 7 + 1000,
        "target": [belt.target[k % len(belt)] for k in range(n)],
        "target_index": np.arange(n) % len(belt),
        "kind": ["flyby"] * n,
        "release_jd_tdb": release,
        "burn_jd_tdb": release + 3.0,
        "encounter_jd_tdb": release + 3.0 + 30.0 + 250.0 * rng.random(n),
        "burn_m_s": 150.0 * rng.random(n),
        "mothership_range_km": 3e6 * rng.random(n),
    }
    for name in ("v_rel_km_s", "phase_in_deg", "sun_range_au", "earth_range_au"):
        columns[name] = 1.0 + 9.0 * rng.random(n)
    for axis in "xyz":
        columns[f"target_{axis}_km"] = 2.0 * AU_KM * (rng.random(n) - 0.5)
    return pa.table(columns)


def _judged(opportunities, rng):
    n = opportunities.num_rows
    columns = {"opportunity": opportunities["opportunity"], "reason_text": ["nothing stands out"] * n}
    for name, size in (
        ("aim_t_km", 500.0), ("aim_r_km", -300.0), ("aim_km", 600.0), ("expected_quality", 1.0), ("dv99_m_s", 30.0),
        ("home_days", 20.0), ("chance_returned", 1.0), ("sigma_time_s", 50.0),
    ):  # fmt: skip
        columns[name] = size * rng.random(n)
    columns["home_days"][0] = np.nan
    return pa.table(columns)


def _plans(opportunities, plans, probes, rng):
    targets = opportunities.num_rows // 3
    numbers = opportunities["opportunity"].to_numpy()
    front = {"plan": [], "probes": [], "science": [], "propellant_kg": [], "risk": []}
    rows = {"plan": [], "probe": [], "opportunity": [], "success": [], "propellant_kg": []}
    for plan in range(plans):
        count = min(plan, probes)
        science = plan / plans * (0.75 + 0.01 * rng.random())
        masses = (plan + 1) / plans * rng.random(count)
        for key, value in zip(front, (plan, count, science, masses.sum(), 1.0 - science), strict=True):
            front[key].append(value)
        for probe in range(count):  # one probe a target, the hostile ones first
            opportunity = numbers[probe + targets * rng.integers(0, 3)]
            flown = (plan, probe, opportunity, 0.5 + 0.4 * rng.random(), masses[probe])
            for key, value in zip(rows, flown, strict=True):
                rows[key].append(value)
    more = {name: rng.random(plans) for name in ("p_threshold", "p_baseline", "p_none", "cvar10_science")}
    return pa.table({**front, **more}), pa.table(rows)


def _write_rest(run, opportunities, front, plans, *, chosen, rng):
    used = np.unique(plans["opportunity"].to_numpy())
    flown = opportunities.filter(pa.array(np.isin(opportunities["opportunity"].to_numpy(), used))).to_pylist()
    write_some(run, "arcs", _arcs(flown, rng))
    turn = np.linspace(0.0, 2.0 * np.pi, 121)
    circles = [  # close together at the beginning, as inner planets may be: their names would stand on each other
        pa.table({
            "planet": [planet] * 121, "t_jd_tdb": START + days / 120 * np.arange(121.0),
            "x_km": au * AU_KM * np.cos(turn), "y_km": au * AU_KM * np.sin(turn), "z_km": 0.0 * turn,
        })
        for planet, au, days in (("Mercury", 0.39, 88.0), ("Venus", 0.72, 224.7), ("Earth and Moon", 1.0, 365.25))
    ]  # fmt: skip
    write_some(run, "planets", pa.concat_tables(circles))
    events = []
    for row in flown:
        last = row["encounter_jd_tdb"]
        dates = (("release", row["release_jd_tdb"]), ("burn", row["burn_jd_tdb"]), ("correction", last - 20.0),
                 ("encounter", last), ("data home", last + 5.0))  # fmt: skip
        events += [(row["opportunity"], event, date) for event, date in dates]
    write_some(run, "events", _columns(("opportunity", "event", "t_jd_tdb"), events))
    rings = [
        (row["opportunity"], 50.0, 100.0 + 300.0 * rng.random(), 90.0 * rng.random() + 9.0, 5.0, 77.7)
        for row in flown
    ]
    names = ("opportunity", "keepout_km", "slew_km", "sigma_larger_km", "sigma_smaller_km", "sigma_angle_deg")
    write_some(run, "aims", _columns(names, rings))
    seen = [
        (row["opportunity"], 3.0 * rng.random(), 300.0 * rng.random(), 20.0 * rng.random()) for row in flown
    ]
    seen[0] = (*seen[0][:2], None, seen[0][3])
    write_some(
        run, "images", _columns(("opportunity", "diameter_km", "pixels_across", "images_expected"), seen)
    )
    served = [
        (row["opportunity"], name, rng.random())
        for row in flown
        for name in ("one of each class", HOSTILE)[: 1 + row["opportunity"] % 2]
    ]
    write_some(run, "serves", _columns(("opportunity", "science_row", "counts_chance"), served))
    chances = [
        (row["plan"], k, 1.0 / (row["probes"] + 1), 1.0 - k / (row["probes"] + 1))
        for row in front.to_pylist()
        for k in range(row["probes"] + 1)
    ]
    write_some(run, "successes", _columns(("plan", "returned", "chance", "chance_or_more"), chances))
    for name, table in _small_tables(chosen, rng).items():
        write_some(run, name, table)


def _arcs(flown, rng):
    rows = []
    for row in flown:
        for share in np.linspace(0.0, 1.0, 5):
            t = row["burn_jd_tdb"] + share * (row["encounter_jd_tdb"] - row["burn_jd_tdb"])
            rows.append((row["opportunity"], t, *(share * row[f"target_{axis}_km"] for axis in "xyz")))
    return _columns(("opportunity", "t_jd_tdb", "x_km", "y_km", "z_km"), rows)


def _columns(names, rows):
    return pa.table({name: [row[k] for row in rows] for k, name in enumerate(names)})


def _random_columns(names, n, rng):
    return {name: rng.random(n) for name in names.split()}


def _small_tables(chosen, rng):
    """Tables of a few rows: columns as their stages write them, values at random."""
    mass = "best_kg contingency_kg expected_kg margin_kg maximum_kg margin_of_expected margin_of_maximum"
    speeds = (
        "deterministic_m_s statistical_m_s attitude_m_s best_m_s contingency_m_s expected_m_s carried_m_s"
    )
    compared = "science propellant_kg risk science_held risk_held science_change risk_change targets_retained"
    steps = np.arange(4)
    return {
        "bound": pa.table(
            {"probes": [4] * 4, **_random_columns("propellant_kg science_upper science_best", 4, rng)}
        ),
        "convergence": pa.table(
            {
                "search": [0, 0, 1, 1],
                "epoch": [0, 1, 0, 1],
                "evaluations": [10, 99, 12, 50],
                "hypervolume": rng.random(4),
                "archived": [3, 5, 4, 6],
            }
        ),
        "density": pa.table(
            {
                "from_jd_tdb": START + 400.0 * steps,
                "until_jd_tdb": START + 400.0 * (steps + 1),
                "found": steps,
                "expected": 3.0 * rng.random(4),
            }
        ),
        "counts": pa.table(
            {
                "probes": 4 * steps,
                "science_best": 0.2 * steps + 0.01,
                "rule_met": [True, True, True, False],
                **_random_columns("science propellant_kg risk swarm_mass_kg p_baseline", 4, rng),
                "one_more_science": rng.random(4),
                "next_probe_science": [np.nan, *rng.random(3)],
                "next_probe_science_sd": [np.nan, *rng.random(3)],
            }
        ),
        "descope": pa.table(
            {
                "step": [0, 1],
                "probe": [3, 0],
                "opportunity": [1007, 1000],
                "probes_left": [1, 0],
                **_random_columns("science propellant_kg risk", 2, rng),
            }
        ),
        "mass_budget": pa.table({"item": ["probe", "total"], **_random_columns(mass, 2, rng)}),
        "power_budget": pa.table(
            {
                "probe": [0],
                "opportunity": [1000],
                **_random_columns("sun_range_au panel_w idle_w radio_w transmit_hours_per_day", 1, rng),
            }
        ),
        "delta_v_budget": pa.table(
            {"probe": [0, 1], "opportunity": [1000, 1007], **_random_columns(speeds, 2, rng)}
        ),
        "recoil": pa.table({"probe": [0], "release_jd_tdb": [START + 50.0], "recoil_x_m_s": rng.random(1)}),
        "refined": pa.table(
            {
                "plan": [chosen],
                "probe": [0],
                "target": [HOSTILE],
                **_random_columns("burn_m_s burn_change_m_s aim_km miss_km dv99_m_s success", 1, rng),
            }
        ),
        "observe": pa.table(
            {
                "target": [HOSTILE],
                "name": [HOSTILE_NAME],
                "plans": [3],
                "u_code": [1],
                "class": ["C"],
                "first_release_jd_tdb": [START + 9.0],
                "brightest_mag": rng.random(1),
            }
        ),
        "sensitivity": pa.table(
            {
                "factor": ["burn limit"] * 2 + [HOSTILE],
                "side": ["low", "high", "out"],
                "setting": ["120 m/s", "180 m/s", "gone"],
                "rank_correlation": [None, None, 0.5],
                **_random_columns(compared, 3, rng),
            }
        ),
        "rests_on": pa.table(
            {
                "key": ["quality_min", HOSTILE],
                "unit": ["0 to 1", HOSTILE],
                "source": [HOSTILE, "handbook"],
                "decisive": [True, False],
                **_random_columns("value low high science science_low science_high change", 2, rng),
            }
        ),
        "left_out": pa.table(
            {"target": [LONG], **_random_columns("science_held science_replanned science_change", 1, rng)}
        ),
        "risk_table": pa.table(
            {
                "item": ["dead at check-out", "defect"],
                "cause": ["infant", "lot"],
                "source": ["a", HOSTILE],
                "likelihood_bin": [4, 1],
                "consequence_bin": [2, 5],
                **_random_columns("likelihood consequence", 2, rng),
            }
        ),
        "recourse": pa.table(
            {
                "plan": [chosen],
                "probe": [0],
                "target": [HOSTILE],
                "opportunity": [1000],
                "alternates": [2],
                "burn_by_jd_tdb": [START + 50.0],
                "decide_by_jd_tdb": [START + 60.0],
                **_random_columns("science science_without science_reassigned", 1, rng),
            }
        ),
        "alternates": pa.table(
            {
                "plan": [chosen],
                "probe": [0],
                "rank": [0],
                "target": [LONG],
                "opportunity": [1014],
                "release_jd_tdb": [START + 70.0],
                "encounter_jd_tdb": [START + 170.0],
                **_random_columns("burn_m_s propellant_kg science", 1, rng),
            }
        ),
    }
