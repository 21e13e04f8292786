"""A mothership that burns on its way: the stretch it burns on is cut there and goes on from the new velocity.

A burn may return: halfway between it and the date it is to be back by, a second burn leads to the place of the old path
then (Lambert's problem, solved in the field that the path is in), and a third takes the old velocity: from there on the
path is the old one, node by node. In free flight that costs four times the first burn. Where a planet is met then, the
third is left out: the passage is flown with another velocity, and it must keep what a passage must.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from swarm.reach.arcs.transition import position_by_velocity
from swarm.reach.mothership.flybys import MEETING, Flyby, meeting, planet_named
from swarm.reach.mothership.path import NODE_S, Path
from swarm.study.sections.choices import ShipBurn
from targets.base.constants import DAY_S
from targets.base.errors import InputError
from targets.base.timescale import iso_of_tdb_s, tdb_s_from_jd
from targets.ephemeris import spice
from targets.ephemeris.planets import PlanetTable
from targets.motion.perturbed import march_nodes
from targets.motion.twobody import drift_states

# A burn needs this much of its stretch on either side: the nodes of a path are a day apart.
_ROOM_S = DAY_S
# Where between a burn and its return the second one is: own choice, see above.
HALFWAY = 0.5
# Newton's steps and the miss at which they end; each takes off the part that the planets turn, a thousandth or so.
_STEPS, _MISS_KM = 12, 1e-3


@dataclass(frozen=True, eq=False)
class FlownBurn:
    """An impulse as it is flown: TDB seconds, (3,) ICRF km/s."""

    at_tdb_s: float
    change_km_s: np.ndarray

    @property
    def size_m_s(self) -> float:
        return 1e3 * float(np.linalg.norm(self.change_km_s))

    def sentence(self) -> str:
        return f"{iso_of_tdb_s(self.at_tdb_s)}: the mothership burns {self.size_m_s:.3f} m/s"


@dataclass(frozen=True)
class Burned:
    """Legs with the burns flown, in order of date; flybys of which some are flown differently."""

    legs: tuple[Path, ...]
    flybys: tuple[Flyby, ...]
    burns: tuple[FlownBurn, ...]


def burned_legs(
    legs: Sequence[Path], burns: Sequence[ShipBurn], planets: PlanetTable, flybys: Sequence[Flyby] = ()
) -> Burned:
    """Legs with the burns flown.

    Unless a burn returns, nothing is targeted again: one before a passage would miss it, so it is refused. Raises
    InputError naming the burn.
    """
    made = Burned(tuple(legs), tuple(flybys), ())
    for k, burn in sorted(enumerate(burns), key=lambda pair: pair[1].date):
        place = f"mothership.burns[{k}]"
        where = _leg_at(made.legs, float(tdb_s_from_jd(burn.date)), f"{place}.date")
        if burn.return_by is not None:
            back_s = float(tdb_s_from_jd(burn.return_by))
            made = _returning(made, where, burn, back_s, planets, f"{place}.return_by")
        elif where == len(made.legs) - 1:
            made = _going_on(made, burn, planets)
        else:
            raise InputError(
                "a burn before a passage: the mothership would miss it",
                place=f"{place}.date",
                found=f"{iso_of_tdb_s(float(tdb_s_from_jd(burn.date)))}, before "
                f"{iso_of_tdb_s(made.legs[where + 1].start_tdb_s)}",
                expected="a date on the last leg, or return_by beside it",
            )
    return made


def _change_km_s(burn: ShipBurn) -> np.ndarray:
    return 1e-3 * np.array([burn.x_m_s, burn.y_m_s, burn.z_m_s])


def _leg_at(legs: Sequence[Path], at_s: float, place: str) -> int:
    for k, leg in enumerate(legs):
        if leg.start_tdb_s + _ROOM_S <= at_s <= _end_s(leg) - _ROOM_S:
            return k
    spans = "; ".join(f"{iso_of_tdb_s(leg.start_tdb_s)} to {iso_of_tdb_s(_end_s(leg))}" for leg in legs)
    raise InputError(
        "the mothership is on no leg then, or within a day of an end",
        place=place,
        found=iso_of_tdb_s(at_s),
        expected=f"a date inside {spans}",
    )


def _end_s(leg: Path) -> float:
    return float(leg.epochs_tdb_s[-1])


def _going_on(made: Burned, burn: ShipBurn, planets: PlanetTable) -> Burned:
    leg, at_s, change = made.legs[-1], float(tdb_s_from_jd(burn.date)), _change_km_s(burn)
    after = _flown(_with_burn(leg.at(at_s)[0], change), at_s, _end_s(leg), leg.pulled, planets)
    cut = (*made.legs[:-1], _part(leg, leg.start_tdb_s, at_s), after)
    return Burned(cut, made.flybys, (*made.burns, FlownBurn(at_s, change)))


# --- and back -----------------------------------------------------------------------------------------------


def _returning(
    made: Burned, where: int, burn: ShipBurn, asked_s: float, planets: PlanetTable, place: str
) -> Burned:
    leg, at_s, change = made.legs[where], float(tdb_s_from_jd(burn.date)), _change_km_s(burn)
    back_s, goal, number = return_of(made.flybys, leg, asked_s, place)
    second_s = at_s + HALFWAY * (back_s - at_s)
    away = _flown(_with_burn(leg.at(at_s)[0], change), at_s, second_s, leg.pulled, planets)
    aimed = _aimed(away.states[-1], second_s, back_s, goal[:3], leg.pulled, planets, place)
    burns = [FlownBurn(at_s, change), FlownBurn(second_s, aimed[3:] - away.states[-1, 3:])]
    last_s = _end_s(leg) if number is not None else back_s
    cut = [_part(leg, leg.start_tdb_s, at_s), away, _flown(aimed, second_s, last_s, leg.pulled, planets)]
    flybys = list(made.flybys)
    velocity = _moved(aimed, second_s, back_s, leg.pulled, planets)[3:]
    if number is None:
        burns.append(FlownBurn(back_s, goal[3:] - velocity))
        cut.append(_part(leg, back_s, _end_s(leg)))
    else:
        flybys[number] = _met_differently(flybys[number], velocity - goal[3:])
    legs = (*made.legs[:where], *cut, *made.legs[where + 1 :])
    return Burned(legs, tuple(flybys), (*made.burns, *burns))


def return_of(
    flybys: Sequence[Flyby], leg: Path, asked_s: float, place: str
) -> tuple[float, np.ndarray, int | None]:
    """Where a return leads to: epoch, (6,) state there, and the number of the flyby if it is that of a planet.

    Raises InputError where the leg is over by then.
    """
    for k, flyby in enumerate(flybys):
        ends_leg = abs(flyby.enter_tdb_s - _end_s(leg)) < 1.0
        if flyby.kind == MEETING and ends_leg and flyby.enter_tdb_s <= asked_s <= flyby.leave_tdb_s:
            at_s = flyby.closest_tdb_s
            return at_s, spice.sample(planet_named(flyby.body).spice_id, np.array([at_s]))[0], k
    last_s = _end_s(leg) - _ROOM_S
    if asked_s > last_s:
        raise InputError(
            "the mothership cannot be back then: its leg ends before",
            place=place,
            found=iso_of_tdb_s(asked_s),
            expected=f"a date before {iso_of_tdb_s(last_s)}, or that of the passage that ends the leg",
        )
    return asked_s, leg.at(asked_s)[0], None


def _met_differently(old: Flyby, v_inf_in_km_s: np.ndarray) -> Flyby:
    return meeting(
        planet_named(old.body),
        v_inf_in_km_s,
        old.v_inf_out_km_s,
        at_tdb_s=old.closest_tdb_s,
        clear_s=old.closest_tdb_s - old.enter_tdb_s,
        altitude_min_km=old.altitude_min_km,
        mismatch_max_m_s=old.mismatch_max_m_s,
    )


def _aimed(
    state: np.ndarray,
    at_s: float,
    back_s: float,
    goal_km: np.ndarray,
    pulled: bool,
    planets: PlanetTable,
    place: str,
) -> np.ndarray:
    """(6,) the state with the velocity that leads to a place at an epoch: Newton with the two-body derivative."""
    aimed = state.copy()
    for _ in range(_STEPS):
        miss_km = goal_km - _moved(aimed, at_s, back_s, pulled, planets)[:3]
        if np.linalg.norm(miss_km) < _MISS_KM:
            return aimed
        by_velocity = position_by_velocity(aimed[None, :], np.array([back_s - at_s]))[0]
        aimed[3:] += np.linalg.lstsq(by_velocity, miss_km, rcond=None)[0]
        if not np.isfinite(aimed).all():
            break
    raise InputError(
        "no second burn leads back to the old path",
        place=place,
        found=f"a burn on {iso_of_tdb_s(at_s)} for {iso_of_tdb_s(back_s)}",
        expected="another date, or a smaller burn",
    )


# --- stretches of path --------------------------------------------------------------------------------------


def _spaced(first_s: float, last_s: float) -> tuple[float, int]:
    """Step of at most a day, and number of nodes, from first to last exactly."""
    spans = max(1, math.ceil((last_s - first_s) / NODE_S - 1e-9))
    return (last_s - first_s) / spans, spans + 1


def _part(leg: Path, first_s: float, last_s: float) -> Path:
    step, count = _spaced(first_s, last_s)
    return Path(first_s, step, leg.at(first_s + step * np.arange(count)), leg.pulled)


def _with_burn(state: np.ndarray, change_km_s: np.ndarray) -> np.ndarray:
    return np.concatenate([state[:3], state[3:] + change_km_s])


def _flown(state: np.ndarray, first_s: float, last_s: float, pulled: bool, planets: PlanetTable) -> Path:
    step, count = _spaced(first_s, last_s)
    if pulled:
        return Path(first_s, step, march_nodes(state, first_s, step_s=step, count=count, planets=planets))
    repeated = np.broadcast_to(state, (count, 6))
    moved = drift_states(repeated[:, :3], repeated[:, 3:], step * np.arange(count))
    return Path(first_s, step, np.hstack(moved), pulled=False)


def _moved(
    state: np.ndarray, first_s: float, last_s: float, pulled: bool, planets: PlanetTable
) -> np.ndarray:
    """(6,) the state at another epoch, in the field of the path."""
    if pulled:
        return np.asarray(_flown(state, first_s, last_s, pulled, planets).states[-1])
    return np.hstack(drift_states(state[None, :3], state[None, 3:], np.array([last_s - first_s])))[0]
