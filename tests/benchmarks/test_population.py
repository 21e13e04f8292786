"""The whole known population: 1.4 million invented bodies, ten years, 150 m/s, arcs up to 500 d.

Run alone on a quiet machine: `pytest -m benchmark -s tests/benchmarks/test_population.py`. Minutes, gigabytes.
"""

from __future__ import annotations

import threading
import time

import numpy as np
import psutil
import pytest

from swarm.reach.opportunities import screen_together
from swarm.run.workers import open_workers
from swarm.study.schema import Study, study_from
from targets.catalogue.bodies import Catalogue
from targets.catalogue.invented import invented_belt
from tests.benchmarks.report import print_table

pytestmark = pytest.mark.benchmark

START_JD = 2461000.5
POPULATION = 1_400_000


def a_study(*, mean_anomaly_deg: float = 15.0, start_jd: float = START_JD, chunk: int = 20_000) -> Study:
    return study_from(
        {
            "study": {"name": "population", "start": start_jd, "end": start_jd + 3652.5},
            "catalogue": {"format": "invented", "bodies": POPULATION, "seed": 7},
            "mothership": {
                "kind": "elements", "epoch": start_jd, "a_au": 2.3, "e": 0.15, "i_deg": 4.0, "node_deg": 40.0,
                "argp_deg": 120.0, "mean_anomaly_deg": mean_anomaly_deg,
            },
            "probe": {"count": 12, "wet_mass_kg": 12.0, "burn_limit_m_s": 150.0},
            "search": {"arc_min_days": 30.0, "arc_max_days": 500.0, "chunk_bodies": chunk},
            "science": {"rows": [{"name": "any"}]},
        }
    )  # fmt: skip


class Memory:
    """Largest memory of this process and its children together, sampled ten times a second."""

    def __enter__(self) -> Memory:
        self.most, self._stop = 0, threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()

    def _watch(self) -> None:
        me = psutil.Process()
        while not self._stop.wait(0.1):
            total = 0
            for process in (me, *me.children(recursive=True)):
                try:
                    total += process.memory_info().rss
                except psutil.NoSuchProcess:
                    continue
            self.most = max(self.most, total)


def timed(run) -> tuple[float, object]:
    begun = time.perf_counter()
    result = run()
    return time.perf_counter() - begun, result


@pytest.fixture
def cold_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("SWARM_CACHE_DIR", str(tmp_path))
    return tmp_path


def clear(folder) -> None:
    for path in (folder / "prepared").glob("*"):
        path.unlink()


def run(studies: list[Study], catalogue: Catalogue, workers: int) -> list:
    """A screen as the command line does it: workers are started too, the catalogue is made before."""
    with open_workers(workers) as pool:
        return list(screen_together(studies, catalogue, pool=pool))


def test_population_in_a_minute(cold_cache) -> None:
    run([a_study()], invented_belt(2000, 7), 2)  # kernels compiled, outside the clock
    rows = []
    with Memory() as memory:
        begun = time.perf_counter()
        catalogue = invented_belt(POPULATION, 7)
        rows.append(("making the catalogue", f"{time.perf_counter() - begun:.1f} s", ""))
        unprepared, found = timed(lambda: run([a_study()], catalogue, 2))
    rows.append(("1.4 million x 10 yr, two cores, unprepared", f"{unprepared:.1f} s", "limit 60 s"))
    rows.append(("peak memory, all processes", f"{memory.most / 2**30:.2f} GiB", "limit 3"))
    rows.append(
        ("targets / opportunities", f"{len(found[0].targets)} / {found[0].opportunities.num_rows}", "")
    )
    prepared, again = timed(lambda: run([a_study()], catalogue, 2))
    rows.append(("the same, prepared", f"{prepared:.1f} s", "limit 30 s"))
    assert again[0].opportunities.equals(found[0].opportunities)
    clear(cold_cache)
    tenth, _ = timed(lambda: run([a_study()], catalogue.take(np.arange(POPULATION // 10)), 2))
    rows.append(("a tenth of the bodies, unprepared", f"{tenth:.1f} s", f"{unprepared / tenth:.1f} x"))
    print_table("Population screen (ten times the bodies: at most 11 x)", rows)


def test_population_on_one_core_and_two(cold_cache) -> None:
    run([a_study()], invented_belt(2000, 7), 2)
    catalogue = invented_belt(POPULATION, 7)
    two, _ = timed(lambda: run([a_study()], catalogue, 2))
    clear(cold_cache)
    one, _ = timed(lambda: run([a_study()], catalogue, 1))
    print_table(
        "1.4 million bodies, unprepared (two cores at least 1.7 times one)",
        [("one core", f"{one:.1f} s", "1"), ("two cores", f"{two:.1f} s", f"{one / two:.2f} x")],
    )


def test_population_of_an_earlier_epoch(cold_cache) -> None:
    run([a_study()], invented_belt(2000, 7), 2)
    catalogue = invented_belt(POPULATION, 7)
    now, _ = timed(lambda: run([a_study()], catalogue, 2))
    clear(cold_cache)
    later, _ = timed(lambda: run([a_study(start_jd=START_JD + 5 * 365.25)], catalogue, 2))
    per_year = (later - now) / 5.0
    print_table(
        "Catalogue epoch before the start (at most 6 s a year)",
        [
            ("epoch at the start", f"{now:.1f} s", ""),
            ("five years earlier", f"{later:.1f} s", f"{per_year:.1f} s/yr"),
        ],
    )


def test_twenty_motherships_in_one_pass(cold_cache) -> None:
    run([a_study()], invented_belt(2000, 7), 2)
    catalogue = invented_belt(POPULATION, 7)
    one, _ = timed(lambda: run([a_study()], catalogue, 2))
    clear(cold_cache)
    fleet = [a_study(mean_anomaly_deg=18.0 * k) for k in range(20)]
    twenty, found = timed(lambda: run(fleet, catalogue, 2))
    print_table(
        "Twenty motherships (at most 4 times one)",
        [
            ("one mothership", f"{one:.1f} s", "1"),
            ("twenty", f"{twenty:.1f} s", f"{twenty / one:.2f} x"),
            ("targets of all", f"{sum(len(part.targets) for part in found)}", ""),
        ],
    )


def test_against_the_careful_plain_way(cold_cache) -> None:
    """assist motion, distance filter, pykep Lambert on survivors, scipy: bodies a second, in the same run."""
    assist = pytest.importorskip("tests.helpers.outside").Assist()
    from swarm.reach.opportunities import burn_slots, read_mothership
    from swarm.run.workers import Pool
    from targets.base.constants import DAY_S
    from targets.base.timescale import tdb_s_from_jd
    from tests.helpers.independent_search import Question, SampledLeg, least_burns, smallest_burn

    study = a_study()
    catalogue = invented_belt(POPULATION, 7)
    subset = catalogue.take(np.sort(np.random.default_rng(3).permutation(POPULATION)[:4000]))

    def screen_unprepared() -> None:
        clear(cold_cache)
        screen_together([study], subset, pool=Pool())

    screen_unprepared()
    ours = min(timed(screen_unprepared)[0] for _ in range(2)) / len(subset)

    first, last = (float(tdb_s_from_jd(jd)) for jd in (study.study.start, study.study.end))
    path = read_mothership(study).legs[0]
    leg = SampledLeg(path.epochs_tdb_s, path.states)
    question = Question(
        first,
        last,
        burn_slots(study),
        study.probe.checkout_days * DAY_S,
        0.15,
        30.0 * DAY_S,
        500.0 * DAY_S,
        2,
    )
    days = first + DAY_S * np.arange(3653)
    epochs, r, v = subset.states()
    plain = 0.0
    checked = 40
    for k in range(checked):
        seconds, states = timed(lambda k=k: assist.path(np.concatenate([r[k], v[k]]), float(epochs[k]), days))
        plain += seconds + timed(lambda states=states: least_burns(question, (leg,), days, states))[0]
    plain /= checked
    # without the filter: every release and every encounter day of one body, timed on a sample of them
    pairs = sum(
        ((days - burn >= 30.0 * DAY_S) & (days - burn <= 500.0 * DAY_S)).sum() for burn in question.burns_s
    )
    ship = leg.at(question.burns_s[3])
    seconds, _ = timed(
        lambda: [smallest_burn(ship, states[40 + k, :3], (60.0 + k) * DAY_S, 2) for k in range(400)]
    )
    unfiltered = plain + pairs * seconds / 400.0
    print_table(
        "One body, ten years, all releases (at least 30 times the plain way)",
        [
            ("this screen, one core, unprepared", f"{ours * 1e6:.0f} us", "1"),
            ("assist, distance filter, pykep, scipy", f"{plain * 1e3:.1f} ms", f"{plain / ours:.0f} x"),
            ("the same without the filter", f"{unfiltered:.1f} s", f"{unfiltered / ours:.0f} x"),
        ],
    )
