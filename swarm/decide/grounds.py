"""The grounds that changed studies are planned on: what a screen finds in them, judged and polished."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.decide.replan import Ground, World, answers
from swarm.optimize.polish import with_polished
from swarm.plan.constraints import ROUNDING_DAYS, UNUSED
from swarm.plan.data import Chances, column
from swarm.plan.flight import Flight
from swarm.plan.judged import chances_of, judge_all
from swarm.reach.every_kind import screen_every_kind
from swarm.reach.found import Screening
from swarm.reach.mothership.path import Path
from swarm.reach.mothership.sources import Mothership
from swarm.reach.opportunities import read_mothership
from swarm.run.kinds import at_places
from swarm.run.workers import Pool
from swarm.study.by_design import probe_values
from targets.base.constants import DAY_S
from targets.base.errors import InputError, NothingFeasible
from targets.catalogue.bodies import PLACE
from targets.catalogue.places import is_place
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import SensitivitySettings, Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LOW, HIGH = "low", "high"
BURN, SLIP = "burn limit", "mothership schedule"
# Two paths nearer than this are one.
_SAME_KM = 1.0


def needs_screen(study: Study) -> bool:
    """Whether some change asks for another screen, and so for the catalogue."""
    asked = study.sensitivity
    return asked is not None and bool(asked.burn_limit_fraction or asked.slips_days or asked.slip_files)


def asked_of(study: Study) -> SensitivitySettings:
    if study.sensitivity is None:
        raise InputError("nothing to vary", place="sensitivity", expected="a section [sensitivity]")
    return study.sensitivity


# --- studies that need a screen -----------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Screened:
    """A changed study with its screen; `screening` is None where no release leaves time for an arc."""

    factor: str
    side: str
    setting: str
    study: Study
    screening: Screening | None = None


def slipped(study: Study, days: float) -> Study:
    """The study with its mothership so many days late (early: negative); see the head of this module."""
    ship = study.mothership
    if ship.kind == "legs":
        legs = tuple(leg.model_copy(update={"date": leg.date + days}) for leg in ship.legs)
        return study.with_keys("mothership", legs=legs)
    if ship.kind != "elements" or ship.epoch is None:
        raise InputError(
            "a path from a file is not shifted in time",
            place="sensitivity.slips_days",
            found=f"{days:g} d with mothership.kind = {ship.kind!r}",
            expected="sensitivity.slip_files, with a path computed for the slip",
        )
    late = study.with_keys("mothership", epoch=ship.epoch + days)
    if days <= 0.0:
        return late
    start = study.study.start_jd_tdb
    # ends of a blackout are barred themselves; a release on the very day of the late start is not
    not_yet = (start, start + days - ROUNDING_DAYS)
    return late.with_keys("constraints", blackouts=(*study.constraints.blackouts, not_yet))


def burn_limits_text(study: Study) -> str:
    """The burn limit, of each design where there are several."""
    return ", ".join(f"{own.probe.burn_limit_m_s:.6g}" for own in study.by_design.values()) + " m/s"


def _to_screen(study: Study) -> Iterator[Screened]:
    asked = asked_of(study)
    if asked.burn_limit_fraction:
        stronger = study.with_burn_limits(1.0 + asked.burn_limit_fraction)
        yield Screened(BURN, HIGH, burn_limits_text(stronger), stronger)
    for k, days in enumerate(asked.slips_days):
        late = slipped(study, days)
        _require_a_path(late, f"sensitivity.slips_days[{k}]", days)
        yield Screened(_slip_name(days), *_slip_side(days), late)
    for k, slip in enumerate(asked.slip_files):
        other, place = study.with_keys("mothership", file=slip.file), f"sensitivity.slip_files[{k}]"
        ship = _require_a_path(other, place, slip.days)
        if is_shifted(read_mothership(study), ship, slip.days):
            raise InputError(
                "a path from a file is not shifted in time",
                place=place,
                found=f"{slip.file}: the study's own path, {slip.days:g} d later",
                expected="a path computed for the slip, among the planets where they then are",
            )
        yield Screened(_slip_name(slip.days), *_slip_side(slip.days), other)


def _slip_name(days: float) -> str:
    return f"{SLIP}, {abs(days):g} d"


def _slip_side(days: float) -> tuple[str, str]:
    return (HIGH, f"{days:g} d later") if days > 0.0 else (LOW, f"{-days:g} d earlier")


def is_shifted(before: Mothership, after: Mothership, days: float) -> bool:
    """Whether one path is the other so many days later, within a kilometre wherever both can be compared."""
    apart_km = [_apart_km(a, b, days * DAY_S) for a in before.legs for b in after.legs]
    compared = [km for km in apart_km if km is not None]
    return bool(compared) and max(compared) < _SAME_KM


def _apart_km(before: Path, after: Path, shift_s: float) -> float | None:
    """The largest distance of a path from another that is so much later; None where they share no time."""
    later_s = before.epochs_tdb_s + shift_s
    both = (later_s >= after.epochs_tdb_s[0]) & (later_s <= after.epochs_tdb_s[-1])
    if not both.any():
        return None
    offset_km = after.at(later_s[both])[:, :3] - before.states[both, :3]
    return float(np.linalg.norm(offset_km, axis=1).max())


def _require_a_path(study: Study, place: str, days: float) -> Mothership:
    try:
        return read_mothership(study)
    except InputError as problem:
        found = f"a slip of {days:g} d: {problem}"
        raise InputError("the mothership has no path after this slip", place=place, found=found) from None


def screens(study: Study, catalogue: Catalogue | None, pool: Pool) -> list[Screened]:
    """All that need one, screened in one sweep."""
    due = list(_to_screen(study)) if needs_screen(study) else []
    if not due:
        return []
    if catalogue is None:
        raise ValueError("without the catalogue nothing can be screened again")
    try:
        screenings: Sequence[Screening | None] = screen_every_kind(
            [one.study for one in due], catalogue, pool=pool
        )
    except NothingFeasible:  # one of them leaves no time for an arc: the others are screened without it
        screenings = [_screened_alone(one.study, catalogue, pool) for one in due]
    return [replace(one, screening=screening) for one, screening in zip(due, screenings, strict=True)]


def _screened_alone(study: Study, catalogue: Catalogue, pool: Pool) -> Screening | None:
    try:
        return screen_every_kind((study,), catalogue, pool=pool)[0]
    except NothingFeasible:
        return None


# --- grounds ------------------------------------------------------------------------------------------------


def judged_again(study: Study, opportunities: pa.Table, targets: Catalogue, *, pool: Pool) -> Chances:
    """Return what opportunities come to in a changed study."""
    return chances_of(judge_all(study, opportunities, targets, pool=pool))


def ground_of(study: Study, base: Ground, one: Screened, pool: Pool) -> Ground:
    """The ground of a screen: of stronger burns beside what there was, of a slip in its place."""
    screening = one.screening
    if screening is None or not screening.opportunities.num_rows:
        empty = base.opportunities.slice(0, 0)
        none = base.judged.take(np.empty(0, dtype=np.int64))
        return Ground(empty, base.targets, none, None, base.starts[:0])
    if one.factor == BURN:
        table, targets = joined(
            base,
            screening,
            above_m_s=probe_values(study, screening.opportunities, "burn_limit_m_s"),
        )
        starts = base.starts
    else:
        table, targets = screening.opportunities, screening.targets
        starts = elsewhere(base.starts, base.opportunities, table)
    judged = judged_again(one.study, table, targets, pool=pool)
    flight = None if base.flight is None else Flight(table, screening.path)
    return Ground(table, targets, judged, flight, starts)


def joined(base: Ground, screening: Screening, *, above_m_s: Floats) -> tuple[pa.Table, Catalogue]:
    """Return the opportunities of the base and, after them, those of a screen that burn more than `above_m_s`, (n,).

    What burns no more was found before: a screen with a higher limit finds the same minima and more.
    """
    table = screening.opportunities
    more = table.filter(pa.array(column(table, "burn_m_s") > above_m_s))
    targets, target_index = _of_both(base.targets, screening.targets, more)
    first = int(column(base.opportunities, "opportunity").max(initial=-1)) + 1
    columns: dict[str, Any] = {
        name: more[name] for name in base.opportunities.column_names if name in more.column_names
    }
    columns["opportunity"] = np.arange(first, first + more.num_rows)
    columns["target_index"] = target_index
    schema = base.opportunities.schema
    added = pa.table({name: columns[name] for name in schema.names}).cast(schema)
    return pa.concat_tables([base.opportunities, added]), targets


def _of_both(first: Catalogue, second: Catalogue, rows: pa.Table) -> tuple[Catalogue, Ints]:
    """The targets of one catalogue and then those of another that it lacks, and (n,) which of them each row's is.

    Bodies and places keep their order; a place that only the second has comes last.
    """
    known = {
        name: k for k, name in enumerate(zip(first.target.tolist(), is_place(first).tolist(), strict=True))
    }
    others = list(zip(second.target.tolist(), is_place(second).tolist(), strict=True))
    new = [k for k, name in enumerate(others) if name not in known]
    known |= {others[k]: len(known) + at for at, k in enumerate(new)}
    tables = [first.to_table(), second.take(new).to_table()]
    if any(PLACE in table.column_names for table in tables):
        tables = [
            table
            if PLACE in table.column_names
            else table.append_column(PLACE, pa.array([False] * table.num_rows))
            for table in tables
        ]
    names = zip(rows["target"].to_pylist(), at_places(rows).tolist(), strict=True)
    index = np.array([known[name] for name in names], dtype=np.int64)
    return Catalogue.from_table(pa.concat_tables(tables)), index


def elsewhere(plans: Ints, table: pa.Table, other: pa.Table) -> Ints:
    """Return plans in terms of another table: of the same target the release nearest to what it was, or none.

    Where designs are told apart, of the same one.
    """
    release, before = column(other, "release_jd_tdb"), column(table, "release_jd_tdb")
    visited = _visits(table)
    rows: dict[tuple[str, ...], list[int]] = {}
    for k, name in enumerate(_visits(other)):
        rows.setdefault(name, []).append(k)
    place = np.full(table.num_rows + 1, UNUSED, dtype=np.int64)
    for o in np.unique(plans[plans >= 0]):
        options = np.array(rows.get(visited[o], []), dtype=np.int64)
        if len(options):
            place[o] = options[np.argmin(np.abs(release[options] - before[o]))]
    return place[plans]


def _visits(table: pa.Table) -> list[tuple[str, ...]]:
    """Target, and design where the table has one, of each row."""
    names = [name for name in ("target", "design") if name in table.column_names]
    return list(zip(*(table[name].to_pylist() for name in names), strict=True))


def with_improved_starts(
    study: Study,
    grounds: list[Ground],
    screened: list[Screened],
    chosen: Ints,
    *,
    spent_kg: float,
    pool: Pool,
) -> list[Ground]:
    """Each ground with plans to start from that a short search has improved, slips polished as the run was.

    Both ends of every later comparison start from the same effort. A burn limit that was raised starts from the
    plans of the base: its answer is then never below.
    """
    moved = [k for k, one in enumerate(screened, start=1) if one.factor != BURN]
    nowhere = np.full(len(chosen), UNUSED, dtype=np.int64)
    worlds = [World(0, study, chosen)] + [World(k, screened[k - 1].study, nowhere) for k in moved]
    improved = answers(worlds, grounds, spent_kg=spent_kg, effort=asked_of(study).effort, pool=pool)
    begun = list(grounds)
    for k, one in enumerate(screened, start=1):
        if one.factor == BURN:
            begun[k] = replace(grounds[k], starts=improved[0].front)
    begun[0] = replace(grounds[0], starts=improved[0].front)
    for k, answer in zip(moved, improved[1:], strict=True):
        begun[k] = _polished(screened[k - 1], replace(grounds[k], starts=answer.front), pool)
    return begun


def _polished(one: Screened, ground: Ground, pool: Pool) -> Ground:
    """The ground with releases between the slots for the targets of its plans."""
    used = np.unique(ground.starts[ground.starts >= 0])
    if one.study.optimize.polish_steps <= 1 or not len(used) or one.screening is None:
        return ground
    table = with_polished(one.study, ground.opportunities, ground.targets, used=used, pool=pool)
    new = table.slice(ground.opportunities.num_rows)
    judged = ground.judged
    if new.num_rows:
        more = judged_again(one.study, new, ground.targets, pool=pool)
        judged = Chances._make(np.concatenate(pair) for pair in zip(judged, more, strict=True))
    flight = None if ground.flight is None else Flight(table, one.screening.path)
    return replace(ground, opportunities=table, judged=judged, flight=flight)
