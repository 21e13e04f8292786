"""Small burns of a mothership that bring more into reach: proposed by the linear map, screened as any other.

Burns on a fixed set of directions and sizes at each date are put in order by the worth of what the map brings within
the limit, a target counting more the less is burnt for it (`linear_map`). The best of them, and then burns about the
best of those, are screened exactly for the bodies near the limit, a small part of a catalogue. What that leaves is
proposed: each is screened in full, judged and searched as a mothership of its own, beside the one that does not burn.
One that would fly by a planet in a way that breaks a rule of flybys is not proposed, and what its flybys take more is
charged with its burns.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import tomli_w
from numpy.typing import NDArray

from swarm.app.carriers.by_expectation import made_within, planets_of
from swarm.app.carriers.linear_map import BurnMap, Rows, Tally, burn_map, detour_of, rows_of, screened_worth
from swarm.app.carriers.listed import Carrier, NoStudy, checked
from swarm.reach.found import Screening
from swarm.reach.mothership.sources import Mothership
from swarm.reach.opportunities import read_mothership, screen_together
from swarm.run.workers import Pool
from swarm.study.schema import Study
from swarm.study.sections.choices import ChoiceSettings, RetargetSettings
from swarm.study.toml_file import parse_toml
from targets.base.constants import STANDARD_GRAVITY_M_S2
from targets.base.errors import InputError
from targets.base.timescale import iso_tdb
from targets.catalogue.bodies import Catalogue
from targets.ephemeris.planets import PlanetTable

Floats = NDArray[np.float64]

# Directions and sizes (shares of the budget) that are looked at on each date: own choice. Neighbours of 800 points
# over a sphere are some 7 degrees apart; of 200, one of three cases of brute force was found to 69 % only.
_DIRECTIONS, _SIZES = 800, (0.1, 0.2, 0.35, 0.5, 0.7, 1.0)
# Rows up to this much above the burn limit are near misses: what a whole budget gives back where both burns have the
# same time to work; one of the mothership, longer before, gives back more.
_LEVER = 3.0
# Burns that the map found, screened exactly for the bodies near the limit; then as often burns about so many of the
# best, this share of the budget away along each axis. Own choice: the map alone missed a fifth of the gain of one of
# ten cases of brute force that it had not been chosen by.
_LOOKS, _BEST, _STEPS = 48, 4, (0.25, 0.12)
# Two of one date nearer than this share of the budget are one: among those looked at, among those proposed.
_APART_LOOKS, _APART = 0.2, 0.15
# Of the budget: what planets and curvature make of a return is found when it is flown, not by the map.
_WITHIN = 0.999


@dataclass(frozen=True)
class Offer:
    """A burn on a date with its gain; `carrier` where it was screened exactly for the bodies near the limit."""

    gain: float
    date: float
    burn_m_s: Floats
    carrier: Carrier | None = None


@dataclass(frozen=True)
class Proposing:
    """What burns are to be proposed of: the quiet mothership, what is asked, and what it must keep."""

    carrier: Carrier
    ship: Mothership
    asked: RetargetSettings
    isp_s: float
    limits: ChoiceSettings | None
    planets: PlanetTable


def ship_propellant_kg(mass_kg: float, burn_m_s: float, isp_s: float) -> float:
    """Propellant of burns of a mothership that weighs `mass_kg` before them: m (1 - exp(-dv / (g0 Isp)))."""
    return mass_kg * -math.expm1(-burn_m_s / (STANDARD_GRAVITY_M_S2 * isp_s))


def proposed(
    carrier: Carrier,
    asked: RetargetSettings,
    limits: ChoiceSettings | None,
    catalogue: Catalogue,
    *,
    pool: Pool,
    first: int,
    gpu: bool = False,
) -> tuple[list[Carrier], list[NoStudy]]:
    """The burns to be screened, the most promising first, as motherships numbered from `first`; and those refused.

    None where there is no budget, or where by the map no burn brings anything into reach.
    """
    if asked.budget_m_s == 0.0 or asked.isp_s is None:
        return [], []
    study = carrier.study
    ship = read_mothership(study)
    ask = Proposing(carrier, ship, asked, asked.isp_s, limits, planets_of([study]))
    near = near_limit(study, catalogue, lever_m_s=_LEVER * asked.budget_m_s, pool=pool, gpu=gpu)
    by_map = offers_of(rows_of(study, ship, near), ship, asked, study.probe.burn_limit_m_s)
    looked, refused = _looked(ask, by_map, near.targets, pool)
    chosen = apart(looked, asked, _APART, most=asked.candidates)
    carriers = [replace(each.carrier, number=first + k) for k, each in enumerate(chosen) if each.carrier]
    rest = refused[: asked.candidates]
    return carriers, [replace(each, number=first + len(carriers) + k) for k, each in enumerate(rest)]


def _looked(
    ask: Proposing, by_map: list[Offer], near: Catalogue, pool: Pool
) -> tuple[list[Offer], list[NoStudy]]:
    """Burns screened exactly for the bodies near the limit, the best first; and those that cannot be flown."""
    refused: list[NoStudy] = []
    looked = _screened(ask, apart(by_map, ask.asked, _APART_LOOKS, most=_LOOKS), near, pool, refused)
    for step in _STEPS:
        about = [burn for best in looked[:_BEST] for burn in _neighbours(ask, best, step)]
        looked = sorted(looked + _screened(ask, about, near, pool, refused), key=lambda each: -each.gain)
    return looked, refused


def _neighbours(ask: Proposing, best: Offer, step: float) -> Iterator[Offer]:
    """Six burns about one, each within the budget as the map tells what later burns take."""
    detour = detour_of(ask.ship, best.date, ask.asked.return_by)
    if detour is None:
        return
    for axis in range(3):
        for sign in (1.0, -1.0):
            burn = best.burn_m_s.copy()
            burn[axis] += sign * step * ask.asked.budget_m_s
            total = float(detour.sums_m_s(burn[None, :])[0])
            most = _WITHIN * ask.asked.budget_m_s
            yield Offer(0.0, best.date, burn * min(1.0, most / total) if total > 0.0 else burn)


def _screened(
    ask: Proposing, offers: Sequence[Offer], near: Catalogue, pool: Pool, refused: list[NoStudy]
) -> list[Offer]:
    """Those that can be flown, with what their screens gain, the best first."""
    made = [(offer, burning(ask, offer)) for offer in offers]
    refused += [answer for _, answer in made if isinstance(answer, NoStudy)]
    flown = [(offer, answer) for offer, answer in made if isinstance(answer, Carrier)]
    if not flown:
        return []
    studies = [ask.carrier.study, *(carrier.study for _, carrier in flown)]
    screens = screen_together(studies, near, pool=pool)
    quiet, *worth = [screened_worth(own, found) for own, found in zip(studies, screens, strict=True)]
    found = [
        replace(offer, gain=value - quiet, carrier=carrier)
        for (offer, carrier), value in zip(flown, worth, strict=True)
    ]
    return sorted(found, key=lambda each: -each.gain)


def near_limit(
    study: Study, catalogue: Catalogue, *, lever_m_s: float, pool: Pool, gpu: bool = False
) -> Screening:
    """The screen with `lever_m_s` more than the burn limit."""
    wider = study.with_keys("probe", burn_limit_m_s=study.probe.burn_limit_m_s + lever_m_s)
    return screen_together((wider,), catalogue, pool=pool, gpu=gpu)[0]


def offers_of(rows: Rows, ship: Mothership, asked: RetargetSettings, limit_m_s: float) -> list[Offer]:
    """Burns that gain something by the map, the best first."""
    tally, found = Tally(rows, limit_m_s), list[Offer]()
    for date in asked.dates:
        detour = detour_of(ship, date, asked.return_by)
        if detour is None:
            continue
        mapped = burn_map(rows, ship, detour)
        burns = spread_burns()
        burns *= (_WITHIN * asked.budget_m_s / detour.sums_m_s(burns / _sizes(burns)))[:, None]
        found += _gaining(tally, mapped, burns, date)
    return sorted(found, key=lambda each: -each.gain)


def _sizes(burns: Floats) -> Floats:
    return np.linalg.norm(burns, axis=1, keepdims=True)


def _gaining(tally: Tally, mapped: BurnMap, burns_m_s: Floats, date: float) -> list[Offer]:
    gains = tally.gains(mapped, burns_m_s)
    return [Offer(gain, date, burn) for gain, burn in zip(gains, burns_m_s, strict=True) if gain > 0.0]


def spread_burns() -> Floats:
    """(m, 3) burns of at most 1 on a spiral over the sphere (golden angle), each direction in every size."""
    k = np.arange(_DIRECTIONS)
    z = 1.0 - (2.0 * k + 1.0) / _DIRECTIONS
    turn = math.pi * (3.0 - math.sqrt(5.0)) * k
    unit = np.column_stack([np.sqrt(1.0 - z**2) * np.cos(turn), np.sqrt(1.0 - z**2) * np.sin(turn), z])
    return np.concatenate([size * unit for size in _SIZES])


def apart(found: Sequence[Offer], asked: RetargetSettings, share: float, *, most: int) -> list[Offer]:
    """The first in order, no two of one date within a share of the budget of each other."""
    chosen: list[Offer] = []
    near = share * asked.budget_m_s
    for each in found:
        if all(
            each.date != other.date or np.linalg.norm(each.burn_m_s - other.burn_m_s) > near
            for other in chosen
        ):
            chosen.append(each)
            if len(chosen) == most:
                break
    return chosen


# --- as motherships -----------------------------------------------------------------------------------------


def burning(ask: Proposing, offer: Offer) -> Carrier | NoStudy:
    """The mothership with a burn more, a study of one path as any other; or why it cannot be flown."""
    made = _with_burn(ask, offer.date, offer.burn_m_s)
    if isinstance(made, Carrier) and made.burn_m_s > ask.asked.budget_m_s:
        # the map was wrong about what its return takes: smaller by as much, once
        made = _with_burn(ask, offer.date, offer.burn_m_s * (_WITHIN * ask.asked.budget_m_s / made.burn_m_s))
        if isinstance(made, Carrier) and made.burn_m_s > ask.asked.budget_m_s:
            why = f"its burns and flybys take {made.burn_m_s:.2f} m/s, more than {ask.asked.budget_m_s:g}"
            return NoStudy(made.number, made.label, made.changes, why)
    return made


def _with_burn(ask: Proposing, date: float, burn_m_s: Floats) -> Carrier | NoStudy:
    """Its number is given when it is known which are proposed."""
    carrier, number = ask.carrier, 0
    entry: dict[str, Any] = {"date": date} | {
        f"{axis}_m_s": round(float(value), 6) for axis, value in zip("xyz", burn_m_s, strict=True)
    }
    if ask.asked.return_by is not None:
        entry["return_by"] = ask.asked.return_by
    data = parse_toml(carrier.text, file=carrier.study.base / "study.toml")
    data["mothership"]["burns"] = [*data["mothership"].get("burns", []), entry]
    size = float(np.linalg.norm([entry[f"{axis}_m_s"] for axis in "xyz"]))
    label = f"{carrier.label}, burn of {size:.2f} m/s on {iso_tdb(date)[:10]}"
    changes = carrier.changes | {"mothership.burns": [entry]}
    try:
        study = checked(data, file=label, base=carrier.study.base)
    except InputError as problem:
        return NoStudy(number, label, changes, str(problem).splitlines()[0])
    ship, why = made_within(study, ask.planets, ask.limits)
    if ship is None or (why := why or newly_powered(ask.ship, ship, ask.limits)):
        return NoStudy(number, label, changes, why)
    total = burnt_m_s(ask.ship, ship)
    made = Carrier(number, label, changes, tomli_w.dumps(data), study, burn_m_s=total)
    return replace(made, burn_kg=ship_propellant_kg(study.mothership.mass_kg, total, ask.isp_s))


def newly_powered(quiet: Mothership, ship: Mothership, limits: ChoiceSettings | None) -> str:
    """Why a flyby that needs no manoeuvre without the burn may not need one with it; empty where none does.

    A study that allows manoeuvres says how large they may be (`choices.manoeuvre_max_m_s`).
    """
    if limits is not None and limits.manoeuvre_max_m_s is not None:
        return ""
    for before, after in zip(quiet.flybys, ship.flybys, strict=True):
        if after.powered and not before.powered:
            return after.sentence()
    return ""


def burnt_m_s(quiet: Mothership, ship: Mothership) -> float:
    """What the burns of a mothership come to beyond those of the quiet one, and what its flybys take more."""
    burns = sum(burn.size_m_s for burn in ship.burns) - sum(burn.size_m_s for burn in quiet.burns)
    more = sum(
        max(after.manoeuvre_m_s - before.manoeuvre_m_s, 0.0)
        for before, after in zip(quiet.flybys, ship.flybys, strict=True)
    )
    return burns + more
