"""Many motherships in one sweep: what one more costs a body, and forty burns of one beside none.

`pytest -m benchmark -s tests/benchmarks/test_carriers_speed.py`. Processor time of this process, so that other work
on the machine does not count; the case of a thousand is on few bodies, a hundred paths ten times each, and what it says
of many is said as extrapolated.
"""

from __future__ import annotations

import resource
import time

import numpy as np
import pytest

from swarm.app.carriers.listed import listed
from swarm.app.carriers.retarget import spread_burns
from swarm.reach import opportunities
from swarm.reach.expected import expected_targets
from swarm.reach.mothership.path import table_of_legs
from swarm.reach.mothership.sources import mothership_of
from swarm.reach.screen.approaches import find_approaches
from swarm.run.workers import Pool, open_workers
from swarm.study.schema import Study
from swarm.study.sections.choices import ShipBurn
from targets.base.constants import DAY_S
from targets.base.timescale import parse_tdb_jd
from targets.catalogue.reading import read_catalogue
from targets.motion.perturbed import move_to_epoch, prepare
from tests.benchmarks.report import print_table
from tests.helpers.places import ROOT
from tests.helpers.sweep_items import near_of

pytestmark = pytest.mark.benchmark

POPULATION, CHUNK = 1_400_000, 10_000
FEW, THOUSAND, PATHS = 4_000, 1_000, 100
BELT, BURNS = 200_000, 40


def fireweed(bodies: int) -> Study:
    """The first mothership of the demonstration, five years, with so many bodies."""
    (first, *_), _ = listed(ROOT / "runs" / "fireweed-when" / "study.toml")
    return first.study.with_keys("catalogue", bodies=bodies)


def at_anomaly(study: Study, degrees: float) -> Study:
    return study.with_keys("mothership", mean_anomaly_deg=degrees)


def spent(run) -> tuple[float, object]:
    begun = time.process_time()
    found = run()
    return time.process_time() - begun, found


def most_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def test_what_one_more_of_a_thousand_motherships_costs_a_body() -> None:
    """The sweep's filter on paths all around the orbit: growth a body and candidate, memory, the law beside it."""
    bodies, most = FEW, THOUSAND
    study = fireweed(bodies)
    catalogue = read_catalogue(study.catalogue, study.base).catalogue
    epochs, r_km, v_km_s = catalogue.states()
    planets = opportunities._planets((study,), epochs)
    made = [at_anomaly(study, 360.0 * k / PATHS) for k in range(PATHS)]
    ships_s, ships = spent(lambda: [mothership_of(own, planets) for own in made])
    legs_s, own_legs = spent(
        lambda: [leg for k, own in enumerate(made) for leg in opportunities._legs(k, own, ships[k])]
    )
    legs = own_legs * (most // PATHS)
    paths = [table_of_legs(ship.legs) for ship in ships]
    law_s, _ = spent(lambda: expected_targets(made, catalogue, paths))
    (start, end), step_s = opportunities._span(study), study.search.step_days * DAY_S
    at_start = move_to_epoch(epochs, np.hstack([r_km, v_km_s]), start, planets=planets, step_s=step_s)
    prepared = prepare(at_start, start_tdb_s=start, end_tdb_s=end, planets=planets, step_s=step_s)
    find_approaches(prepared, tuple(legs[:1]))
    rows = []
    for count in (1, 10, 100, most):
        some = tuple(legs[:: max(PATHS // count, 1)][:count])
        before = most_mib()
        took_s, found = spent(lambda some=some: find_approaches(prepared, some))
        each_us = 1e6 * took_s / bodies / count
        near = sum(len(np.unique(own.body)) for own in found) / bodies / count
        rows.append((f"{count} motherships", f"{each_us:.3f} us", f"{100 * near:.2f} %"))
        rows.append(("  memory, before and after", f"{before:.0f}", f"{most_mib():.0f} MiB"))
    hours = each_us * 1e-6 * POPULATION * most / 3600.0
    rows += [
        ("extrapolated: all of 1.4 million bodies", f"{hours:.2f} h", "one core"),
        ("a path made", f"{1e3 * ships_s / PATHS:.1f} ms", ""),
        ("its reach bound", f"{1e3 * legs_s / PATHS:.1f} ms", ""),
        ("the law, a path", f"{1e3 * law_s / PATHS:.2f} ms", ""),
    ]
    print_table(f"the filter, {bodies} bodies, five years: time a body and mothership, share near", rows)


@pytest.mark.slow
def test_a_thousand_motherships_past_a_whole_population() -> None:
    """1 000 candidates, 1.4 million bodies, five years, on two workers: the filter of the whole sweep, as run."""
    study = fireweed(POPULATION)
    catalogue = read_catalogue(study.catalogue, study.base).catalogue
    epochs, r_km, v_km_s = catalogue.states()
    states, planets = np.hstack([r_km, v_km_s]), opportunities._planets((study,), epochs)
    made = [at_anomaly(study, 360.0 * k / PATHS) for k in range(PATHS)]
    ships = [mothership_of(own, planets) for own in made]
    legs = [leg for k, own in enumerate(made) for leg in opportunities._legs(k, own, ships[k])]
    shared = (
        tuple(legs * (THOUSAND // PATHS)),
        planets,
        opportunities._span(study),
        study.search.step_days * DAY_S,
    )
    chunks = [
        (epochs[k : k + CHUNK], np.ascontiguousarray(states[k : k + CHUNK]))
        for k in range(0, len(epochs), CHUNK)
    ]
    with open_workers(2) as pool:
        pool.map(near_of, chunks[:2], shared=shared)  # kernels
        begun = time.perf_counter()
        found = pool.map(near_of, chunks, shared=shared)
        took_s = time.perf_counter() - begun
    preparing_s, filter_s = (sum(part[k] for part in found) for k in (0, 1))
    pairs = sum(part[2] for part in found)
    print_table(
        f"{THOUSAND} motherships, {POPULATION} bodies, five years, two workers",
        [
            ("from begin to end", f"{took_s:.0f} s", ""),
            (
                "the bodies' own motion, processor",
                f"{preparing_s:.0f} s",
                f"{1e6 * preparing_s / POPULATION:.1f} us",
            ),
            (
                "the filter, processor",
                f"{filter_s:.0f} s",
                f"{1e6 * filter_s / POPULATION / THOUSAND:.3f} us",
            ),
            ("pairs near", f"{pairs}", f"{100.0 * pairs / POPULATION / THOUSAND:.2f} %"),
            ("memory of a worker, at most", f"{max(part[3] for part in found):.0f} MiB", ""),
            ("memory of the driver, at most", f"{most_mib():.0f} MiB", ""),
        ],
    )
    assert pairs > 0


def test_forty_burns_beside_none() -> None:
    """The whole screen of a mothership and of it with burns of up to 10 m/s, prepared and not."""
    bodies, burns = BELT, BURNS
    study = fireweed(bodies)
    catalogue = read_catalogue(study.catalogue, study.base).catalogue
    date = parse_tdb_jd("2031-03-15 TDB")
    tried = 10.0 * spread_burns()[:: len(spread_burns()) // burns][:burns]
    burnt = [
        study.with_keys(
            "mothership",
            burns=(ShipBurn(date=date, x_m_s=float(b[0]), y_m_s=float(b[1]), z_m_s=float(b[2])),),
        )
        for b in tried
    ]
    few = catalogue.take(np.arange(1000))
    opportunities.screen_together((study, burnt[0]), few, pool=Pool())  # compiles
    first_s, _ = spent(lambda: opportunities.screen_together((study,), catalogue, pool=Pool()))
    one_s, _ = spent(lambda: opportunities.screen_together((study,), catalogue, pool=Pool()))
    all_s, found = spent(lambda: opportunities.screen_together((study, *burnt), catalogue, pool=Pool()))
    preparing_s = max(first_s - one_s, 0.0)
    print_table(
        f"{burns} burns, {bodies} bodies, five years",
        [
            ("one, prepared before", f"{one_s:.1f} s", "1"),
            (f"one and its {burns}, prepared before", f"{all_s:.1f} s", f"{all_s / one_s:.2f}"),
            ("preparing, where it was not kept", f"{preparing_s:.1f} s", ""),
            ("both with preparing", "", f"{(all_s + preparing_s) / (one_s + preparing_s):.2f}"),
            ("targets of all", f"{sum(own.counts['targets'] for own in found):.0f}", ""),
            ("memory at most", f"{most_mib():.0f} MiB", ""),
        ],
    )
