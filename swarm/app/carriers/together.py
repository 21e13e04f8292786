"""The motherships of a study ranked, searched and joined, in one folder: `swarm carriers STUDY.toml --run DIR`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path

import pyarrow as pa

from swarm.app.carriers.by_arc import choice_map
from swarm.app.carriers.by_expectation import Ranked, ranked
from swarm.app.carriers.carrier_rows import carriers_table
from swarm.app.carriers.choice_answer import ChosenShip, answer_of, sentences
from swarm.app.carriers.joining import OfCarrier, joined_bound, joined_front
from swarm.app.carriers.listed import Carrier, NoStudy, Searched, listed
from swarm.app.carriers.retarget import proposed
from swarm.app.pipeline import Options, Work, finish_all, is_due, on_first_start, start_run
from swarm.app.stages.running import marked
from swarm.reach.every_kind import screen_every_kind
from swarm.reach.found import Screening
from swarm.refine.whole_plan import chosen_plan
from swarm.report.carrier_figures import carrier_figures
from swarm.report.choice_page import write_choice_page
from swarm.report.paint import paint_figures
from swarm.run.folder import Run, require_free
from swarm.run.lock import folder_held
from swarm.run.progress import Silent, Teller
from swarm.run.tables.carriers import CARRIERS
from swarm.run.workers import Pool, open_workers, require_scheduler
from swarm.run.writing import write_text_atomically
from swarm.study.schema import read_study, require_files
from targets.base.errors import InputError, NothingFeasible
from targets.catalogue.reading import Reading, read_catalogue

STUDIES, RUNS, FIGURES = "studies", "carriers", "figures"
# Motherships swept in one pass: what they find is held until it is written.
_AT_ONCE = 20
# Each has a front, the chosen one counts and sensitivities where the study asks for them; its trajectories and its page
# are one command away.
_LAST_STAGE, _LAST_OF_CHOSEN = "optimize", "sensitivity"
_MADE = ("carriers.parquet", "choice_map.parquet")


@dataclass(frozen=True)
class _Place:
    """Where and with what the motherships are searched."""

    folder: Path
    options: Options
    pool: Pool
    teller: Teller
    reading: Reading


def run_carriers(study_path: Path, run_dir: Path, options: Options, teller: Teller | None = None) -> Run:
    """Answer which mothership to fly: every candidate ranked, the best searched, their fronts joined.

    `run_dir` holds `carriers`, `choice_map`, the joined `front`, `plans` and `bound`, `report.html`, `figures/`, and
    below `carriers/` the run of each mothership that was searched. What was finished is kept with `options.resume`.
    """
    teller = teller or Silent()
    carriers, refused = listed(study_path, base=options.base)
    asked = read_study(study_path, base=options.base)
    require_files(asked, file=study_path)
    require_free(run_dir, resume=options.resume)
    require_scheduler(options.scheduler)
    teller.say(f"{len(carriers)} motherships listed, {len(refused)} combinations are no study")
    reading = read_catalogue(asked.catalogue, asked.base)
    order = ranked(carriers, reading.catalogue, asked.mothership.choices, teller)
    keep = asked.mothership.choices.keep if asked.mothership.choices else len(carriers)
    with ExitStack() as held:
        run_dir.mkdir(parents=True, exist_ok=True)
        held.enter_context(folder_held(run_dir, say=teller.say))
        run = Run.create(run_dir, study_path, resume=options.resume, seed=options.seed, base=options.base)
        run.set_input("catalogue", reading.source_sha256)
        pool = held.enter_context(open_workers(options.workers, options.scheduler))
        on_first_start(pool, options, teller)
        own = replace(options, resume=True, base=asked.base)
        place = _Place(run_dir, own, pool, teller, reading)
        with marked(run, CARRIERS, run.fingerprint(), stale=_MADE, makes=_MADE):
            _answer(run, order, refused, keep, place)
    return run


def _answer(run: Run, order: list[Ranked], refused: list[NoStudy], keep: int, place: _Place) -> None:
    """Search the best, their burns, join all, and write it."""
    kept = sorted((each for each in order if 0 < each.rank <= keep), key=lambda each: each.rank)
    done = search([each.carrier for each in kept], place, "motherships")
    if not any(each.run for each in done):
        raise NothingFeasible("no mothership has a plan", limit="; ".join(each.why for each in done[:3]))
    ship = run.study.mothership
    burning: list[Carrier] = []
    if ship.retarget is not None:
        best = max((each for each in done if each.run is not None), key=_most_science)
        first = max(each.carrier.number for each in order) + len(refused) + 1
        burning, missed = proposed(
            best.carrier, ship.retarget, ship.choices, place.reading.catalogue,
            pool=place.pool, first=first, gpu=place.options.gpu,
        )  # fmt: skip
        refused = [*refused, *missed]
        place.teller.say(f"{len(burning)} burns of {best.carrier.label} proposed")
        done += search(burning, place, "burns")
    counts = ship.retarget is None or ship.retarget.counts
    flown = [flown_of(each, counts) for each in done if each.run is not None]
    front, plans = joined_front(flown)
    run.write_table("front", front)
    run.write_table("plans", plans)
    bound, by_arc = joined_bound(flown, front), choice_map(run.study, done, flown)
    run.write_table("bound", bound)
    run.write_table("choice_map", by_arc)
    listed_all = [*order, *(Ranked(carrier, 0.0) for carrier in burning)]
    table = carriers_table(listed_all, refused, done, flown, front)
    run.write_table("carriers", table)
    chosen = _follow(run, front, plans, done, place)
    told = answer_of(run.study, table, front, bound, flown, chosen)
    run.note("carriers", told)
    figures = carrier_figures(table, front, bound, by_arc, run.study)
    paint_figures(figures, run.folder / FIGURES)
    write_choice_page(run, sentences(told), figures, table)


def _follow(
    run: Run, front: pa.Table, plans: pa.Table, done: Sequence[Searched], place: _Place
) -> ChosenShip | None:
    """Counts and sensitivities of the mothership that the study's rule takes, where the study asks for them."""
    plan = chosen_plan(front, plans, study=run.study)
    if plan is None:
        return None
    row = front.to_pylist()[front["plan"].to_pylist().index(plan)]
    own = next(each for each in done if each.carrier.number == row["carrier"])
    if own.run is not None:
        with folder_held(own.run.folder, say=place.teller.say):
            work = Work(own.run, place.options, place.pool, place.teller, reading=place.reading)
            finish_all(work, until=_LAST_OF_CHOSEN)
    return ChosenShip(plan, row["carrier"], row["plan_of_carrier"], f"{RUNS}/{own.carrier.name}")


def _most_science(each: Searched) -> float:
    if each.run is None:
        return -1.0
    return float(each.run.read_table("front")["science"].to_numpy().max(initial=0.0))


def flown_of(each: Searched, counts: bool) -> OfCarrier:
    """What joining needs of a mothership that was searched."""
    if each.run is None:
        raise InputError("this mothership was not searched", found=each.carrier.label, expected="a run")
    front, plans, bound = (each.run.read_table(name) for name in ("front", "plans", "bound"))
    kilograms = each.carrier.burn_kg
    return OfCarrier(each.carrier.number, front, plans, bound, kilograms, kilograms if counts else 0.0)


# --- searching them -----------------------------------------------------------------------------------------


def search(carriers: Sequence[Carrier], place: _Place, name: str) -> list[Searched]:
    """Every mothership's run as far as its front; what has one already is kept. Each is a step of what is told."""
    (place.folder / STUDIES).mkdir(exist_ok=True)
    found: list[Searched] = []
    on_done = place.teller.stage(name)
    for begin in range(0, len(carriers), _AT_ONCE):
        for each in _search_some(carriers[begin : begin + _AT_ONCE], place):
            found.append(each)
            on_done(len(found), len(carriers))
    return found


def _search_some(carriers: Sequence[Carrier], place: _Place) -> Iterator[Searched]:
    with ExitStack() as held:
        started = [_started(carrier, place, held) for carrier in carriers]
        runs = [(carrier, run) for carrier, run, _ in started if run is not None]
        screens = _swept(runs, place)
        for carrier, run, why in started:
            yield (
                _finished(carrier, run, screens, place) if run is not None else Searched(carrier, None, why)
            )


def _started(carrier: Carrier, place: _Place, held: ExitStack) -> tuple[Carrier, Run | None, str]:
    text = place.folder / STUDIES / f"{carrier.name}.toml"
    write_text_atomically(text, carrier.text)
    folder = place.folder / RUNS / carrier.name
    try:
        quiet = Silent()  # of many, the sweep and the searches are told as one
        run, _ = start_run(text, folder, place.options, quiet, held=held, reading=place.reading)
    except (InputError, NothingFeasible) as problem:
        return carrier, None, str(problem).splitlines()[0]
    return carrier, run, ""


def _swept(runs: Sequence[tuple[Carrier, Run]], place: _Place) -> dict[int, Screening]:
    """The screens still to be made, in one pass over the catalogue."""
    due = [(carrier, run) for carrier, run in runs if is_due(run, "screen", place.options)]
    if len(due) < 2:
        return {}
    try:
        found = screen_every_kind(
            [run.study for _, run in due],
            place.reading.catalogue,
            pool=place.pool,
            on_done=place.teller.stage(f"screen of {len(due)}"),
            gpu=place.options.gpu,
        )
    except (InputError, NothingFeasible) as problem:
        place.teller.say(f"not swept together ({problem}); each is screened alone")
        return {}
    return {carrier.number: screening for (carrier, _), screening in zip(due, found, strict=True)}


def _finished(carrier: Carrier, run: Run, screens: dict[int, Screening], place: _Place) -> Searched:
    work = Work(
        run,
        place.options,
        place.pool,
        Silent(),
        reading=place.reading,
        screening=screens.pop(carrier.number, None),
    )
    try:
        finish_all(work, until=_LAST_STAGE)
    except NothingFeasible as limit:
        return Searched(carrier, None, f"nothing feasible: {limit.limit}")
    return Searched(carrier, run)
