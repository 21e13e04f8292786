"""What the keys about the mothership's path as a decision must be beside each other."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from swarm.study.problems import Problem
from swarm.study.sections.choices import CHOICE_KEYS, RetargetSettings, ShipBurn
from swarm.study.whole_study import Study
from targets.base.timescale import iso_tdb

# Own choice: each is a path to be made and ranked.
MOST_COMBINATIONS = 10_000
# A burn needs a day on either side on its stretch of path, and there is one halfway to the return.
LEAST_DAYS_AWAY = 4.0
# Kinds of path that are moved on from a state: a burn changes what follows.
BURNING_KINDS = ("elements", "legs")


def asks_for_choice(study: Study) -> bool:
    """Whether the mothership's path is to be chosen: `swarm carriers` answers such a study."""
    ship = study.mothership
    return ship.choices is not None or bool(ship.candidates) or ship.retarget is not None


def choice_relations(study: Study) -> Iterator[Problem]:
    ship = study.mothership
    if ship.choices is not None:
        yield from _grid_relations(ship.choices.grid, bool(ship.candidates))
    names = [candidate.name for candidate in ship.candidates]
    for k, name in enumerate(names):
        if names.index(name) != k:
            yield Problem(f"mothership.candidates[{k}].name", name, "a name that no other candidate has")
    for k, burn in enumerate(ship.burns):
        yield from _inside(study, f"mothership.burns[{k}].date", burn.date)
        yield from _back_later(study, f"mothership.burns[{k}].return_by", burn.return_by, (burn.date,))
    yield from _one_after_the_other(ship.burns)
    if (ship.burns or ship.retarget is not None) and ship.kind not in BURNING_KINDS:
        key = "burns" if ship.burns else "retarget"
        expected = f"nothing: kind is one of {', '.join(BURNING_KINDS)} where the mothership burns"
        yield Problem(f"mothership.{key}", f'kind = "{ship.kind}"', expected)
    if ship.retarget is not None:
        yield from _retarget_relations(study, ship.retarget)
    if study.approach and ship.retarget is not None:
        said = "none beside mothership.retarget: its burns are proposed by what they do to flybys of the catalogue"
        yield Problem("approach", f"{len(study.approach)} of them", said)


def _grid_relations(grid: Mapping[str, tuple[object, ...]], others: bool) -> Iterator[Problem]:
    if not grid and not others:
        yield Problem("mothership.choices.grid", "nothing", 'keys with lists: { "mothership.epoch" = [...] }')
    for key, values in grid.items():
        place = f'mothership.choices.grid."{key}"'
        if not key.startswith("mothership.") or key.split(".")[1].split("[")[0] in CHOICE_KEYS:
            yield Problem(place, key, "a key below [mothership], such as mothership.legs[0].date")
        if not values:
            yield Problem(place, "an empty list", "at least one value")
    combinations = math.prod(len(values) for values in grid.values())
    if combinations > MOST_COMBINATIONS:
        expected = f"at most {MOST_COMBINATIONS}: fewer keys or fewer values"
        yield Problem("mothership.choices.grid", f"{combinations} combinations", expected)


def _retarget_relations(study: Study, asked: RetargetSettings) -> Iterator[Problem]:
    for k, date in enumerate(asked.dates):
        yield from _inside(study, f"mothership.retarget.dates[{k}]", date)
    yield from _back_later(study, "mothership.retarget.return_by", asked.return_by, asked.dates)
    if asked.budget_m_s > 0.0 and asked.isp_s is None:
        yield Problem("mothership.retarget.isp_s", "nothing", "a value: budget_m_s is charged as propellant")


def _back_later(study: Study, place: str, back: float | None, dates: Sequence[float]) -> Iterator[Problem]:
    if back is None:
        return
    yield from _inside(study, place, back)
    if back < max(dates) + LEAST_DAYS_AWAY:
        after = f"a date at least {LEAST_DAYS_AWAY:g} days after {iso_tdb(max(dates))}"
        yield Problem(place, iso_tdb(back), after)


def _one_after_the_other(burns: Sequence[ShipBurn]) -> Iterator[Problem]:
    """Until the mothership is back there is no other burn: it would not be back."""
    for k, burn in enumerate(burns):
        for other in burns:
            if burn.return_by is not None and burn.date < other.date < burn.return_by:
                found = f"another burn on {iso_tdb(other.date)}"
                yield Problem(f"mothership.burns[{k}].return_by", found, "none before the mothership is back")


def _inside(study: Study, place: str, date: float) -> Iterator[Problem]:
    if not study.study.start < date < study.study.end:
        span = f"{iso_tdb(study.study.start)} to {iso_tdb(study.study.end)}"
        yield Problem(place, iso_tdb(date), f"a date inside the study, {span}")
