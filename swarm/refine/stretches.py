"""The paths of a refined plan as nodes that Hermite polynomials join: probes either side of the burn, and targets.

Heliocentric ICRF, TDB; km, km/s, s. Epochs are whole microseconds, as the messages of the hand-off write them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.reach.mothership.interpolation import HERMITE, interpolated
from swarm.refine.correct import NotRefined, Refined
from swarm.refine.nbody import Field, Lost, make_field, path, span_in_kernel
from swarm.refine.whole_plan import MARGIN_S
from targets.base.constants import DAY_S

Floats = NDArray[np.float64]

DEGREE = 7
# What interpolation, and reading back, may be off by.
POSITION_KM, VELOCITY_KM_S = 1e-3, 1e-9
_STEP_S, _STEP_LEAST_S = DAY_S, 60.0
_NODES_LEAST = 2 * (DEGREE + 1)
# How far a probe is followed after its encounter, and a target before and after.
_AFTER_S, _TARGET_BEFORE_S, _TARGET_AFTER_S = DAY_S, 30.0 * DAY_S, 2.0 * DAY_S


@dataclass(frozen=True, eq=False)
class Stretch:
    """(m,) epochs TDB s, whole microseconds, and (m, 6) heliocentric ICRF states, km and km/s, without an impulse."""

    epochs_tdb_s: Floats
    states: Floats


@dataclass(frozen=True, eq=False)
class Paths:
    """What can be written of a plan.

    probes    : two stretches by probe number, before and after the burn
    targets   : one stretch by row of `targets`, about all its encounters
    unwritten : refined probes whose path could not be followed to its end
    """

    probes: dict[int, list[Stretch]]
    targets: dict[int, Stretch]
    unwritten: list[NotRefined]


def whole_microseconds(tdb_s: Floats) -> Floats:
    """Epochs as the text of a message holds them."""
    return np.round(np.asarray(tdb_s, dtype=float) * 1e6) / 1e6


def field_of(made: Sequence[Refined]) -> Field:
    """The forces over the dates of some refined arcs."""
    epochs = [t for arc in made for t in (arc.arc.release_tdb_s, arc.encounter_tdb_s)]
    return make_field(*span_in_kernel(epochs, margin_s=MARGIN_S))


def paths_of(field: Field, made: Sequence[Refined]) -> Paths:
    """Follow every refined arc and its target; an arc that cannot be followed is named and costs the others nothing."""
    probes: dict[int, list[Stretch]] = {}
    unwritten = []
    for refined in made:
        try:
            probes[refined.arc.probe] = probe_stretches(field, refined)
        except Lost as problem:
            reason = f"path up to a day after the encounter: {problem}"
            unwritten.append(NotRefined(refined.arc, reason))
    written = [refined for refined in made if refined.arc.probe in probes]
    targets = {}
    for index in dict.fromkeys(refined.arc.target_index for refined in written):
        visits = sorted((each for each in written if each.arc.target_index == index), key=_encounter_of)
        targets[index] = _target_stretch(field, visits)
    return Paths(probes, targets, unwritten)


def probe_stretches(field: Field, made: Refined) -> list[Stretch]:
    """Release to burn and burn to a day after the encounter: nothing is interpolated across the impulse."""
    arc = made.arc
    end = made.encounter_tdb_s + _AFTER_S
    return [
        _stretch(field, made.released, (arc.release_tdb_s, arc.burn_tdb_s), made.beta[0]),
        _stretch(field, made.after_burn, (arc.burn_tdb_s, end), made.beta[1]),
    ]


def _stretch(field: Field, state: Floats, span: tuple[float, float], beta: float) -> Stretch:
    """States so dense that Hermite interpolation of DEGREE is good to the limits between them."""
    step = _STEP_S
    while True:
        count = max(math.ceil((span[1] - span[0]) / step) + 1, _NODES_LEAST)
        epochs = whole_microseconds(np.linspace(*span, count))
        states = path(field, state, span[0], epochs, beta=beta)
        middles = 0.5 * (epochs[1:] + epochs[:-1])
        between = interpolated(epochs, states, middles, method=HERMITE, degree=DEGREE)
        off = np.abs(between - path(field, state, span[0], middles, beta=beta))
        if step < _STEP_LEAST_S or (
            off[:, :3].max() < 0.3 * POSITION_KM and off[:, 3:].max() < 0.3 * VELOCITY_KM_S
        ):
            return Stretch(epochs, states)
        step /= 2.0


def _encounter_of(made: Refined) -> float:
    return made.encounter_tdb_s


def _target_stretch(field: Field, visits: Sequence[Refined]) -> Stretch:
    """From before its first encounter until after its last: probes may share a target."""
    first = visits[0]
    begin = first.encounter_tdb_s - _TARGET_BEFORE_S
    start = path(field, first.target, first.encounter_tdb_s, [begin])[0]
    return _stretch(field, start, (begin, visits[-1].encounter_tdb_s + _TARGET_AFTER_S), 0.0)
