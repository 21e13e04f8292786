"""Whether what is released may meet the mothership or what was released before: on dispersed trajectories.

    separation  until `constraints.recontact_after_days`, from what it was released with: it may never turn back.
                Looks from a minute on, twice as far apart each time, so that the spring's speed shows
    recontact   from then on, and from the release on for what was released earlier: `constraints.recontact_km` apart,
                over `refine.recontact_days`
    manoeuvre   the same from the mothership, over as many days after each later manoeuvre or flyby of its path

Between looks of six hours relative motion is straight. Spring and main burn are flown with their errors. The error of
the mothership's orbit moves all of them alike and is left out. After a release the mothership drifts with its recoil,
and is on its path again after its next manoeuvre. All in km, km/s, s.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.error_model import errors_of
from swarm.reach.mothership.path import Path
from swarm.refine.chance import Chance, name_of
from swarm.refine.dispersion import execution_errors, spring_errors
from swarm.refine.nbody import Field, make_field, propagate, span_in_kernel
from swarm.refine.released import (
    PART_RECONTACT,
    RECONTACT,
    has_part,
    own_of,
    part_beta,
    part_states,
    random_of,
    recoil_km_s,
)
from swarm.refine.whole_plan import FlownProbe
from swarm.study.schema import Study
from targets.base.constants import DAY_S, JULIAN_YEAR_S

Floats = NDArray[np.float64]

_LOOK_S, _FIRST_LOOK_S, _HOUR_S = DAY_S / 4.0, 60.0, 3600.0
# A distance that falls by less is no return but the last digits of two integrations (own choice).
_RETURN_KM = 1e-3
_MOTHERSHIP = "mothership"


@dataclass(frozen=True, eq=False)
class _Object:
    """A probe or its loose part."""

    flown: FlownProbe
    part: bool

    @property
    def name(self) -> str:
        return name_of(self.flown.made.arc.probe, self.part)

    @property
    def release_s(self) -> float:
        return self.flown.made.arc.release_tdb_s

    @property
    def burn_s(self) -> float:
        return math.inf if self.part else self.flown.made.arc.burn_tdb_s


def recontacts(study: Study, flown: Sequence[FlownProbe], legs: Sequence[Path]) -> list[Chance]:
    """Everything released against the mothership, against what leaves with it, and against what left before it."""
    objects = _released(study, flown)
    span_s = study.refine.recontact_days * DAY_S
    manoeuvres = [float(leg.epochs_tdb_s[0]) for leg in legs[1:]]
    ends = [released.release_s + span_s for released in objects] + [t + span_s for t in manoeuvres]
    field = make_field(*span_in_kernel([objects[0].release_s, *ends], margin_s=2.0 * DAY_S))
    chances = []
    for k, released in enumerate(objects):
        chances += _after_release(study, field, released, objects[:k], legs)
        chances += [
            _after_manoeuvre(study, field, released, t, legs) for t in manoeuvres if t > released.release_s
        ]
    return chances


def _released(study: Study, flown: Sequence[FlownProbe]) -> list[_Object]:
    """In order of release; a part stands after its probe."""
    ordered = sorted(flown, key=_release_and_probe)
    return [
        _Object(probe, part)
        for probe in ordered
        for part in ((False, True) if has_part(own_of(study, probe)) else (False,))
    ]


def _release_and_probe(flown: FlownProbe) -> tuple[float, int]:
    return flown.made.arc.release_tdb_s, flown.made.arc.probe


def _after_release(
    study: Study, field: Field, released: _Object, before: Sequence[_Object], legs: Sequence[Path]
) -> list[Chance]:
    span_s = study.refine.recontact_days * DAY_S
    epochs = _looks(study, released, span_s)
    own = _positions(study, field, released, epochs)
    chances = _pair(
        study,
        released,
        _MOTHERSHIP,
        epochs,
        own - _mothership(study, field, released, epochs, legs),
        together=True,
    )
    for other in before:
        if other.release_s + span_s > released.release_s:
            apart = own - _positions(study, field, other, epochs)
            together = other.release_s == released.release_s
            chances += _pair(study, released, other.name, epochs, apart, together=together)
    return chances


def _looks(study: Study, released: _Object, span_s: float) -> Floats:
    """Epochs from a minute after the release on; the burn, an hour, and the end of the separation among them."""
    doubled = _FIRST_LOOK_S * 2.0 ** np.arange(math.ceil(math.log2(_LOOK_S / _FIRST_LOOK_S)))
    marks = [_HOUR_S, study.constraints.recontact_after_days * DAY_S, span_s]
    if released.burn_s - released.release_s < span_s:
        marks.append(released.burn_s - released.release_s)
    since = np.unique(np.concatenate([doubled, np.arange(_LOOK_S, span_s, _LOOK_S), marks]))
    return released.release_s + since[(since >= _FIRST_LOOK_S) & (since <= span_s)]


def _pair(
    study: Study, released: _Object, other: str, epochs: Floats, apart: Floats, *, together: bool
) -> list[Chance]:
    """Separation, where both were released together, and recontact, of (looks, samples, 3) distances."""
    probe, years = released.flown.made.arc.probe, study.refine.recontact_days * DAY_S / JULIAN_YEAR_S
    grace_s = study.constraints.recontact_after_days * DAY_S if together else 0.0
    since, chances = epochs - released.release_s, []
    if together:
        back = turns_back(apart[since <= max(grace_s, _HOUR_S)])
        hour = float(np.linalg.norm(apart[np.searchsorted(since, _HOUR_S)], axis=1).min())
        chances.append(
            Chance(
                "separation",
                probe,
                released.part,
                other,
                int(back.sum()),
                len(back),
                grace_s / JULIAN_YEAR_S,
                hour,
            )
        )
    late = since >= grace_s
    if late.any():
        chances.append(_meeting(study, "recontact", released, other, apart[late], years=years))
    return chances


def _meeting(
    study: Study, kind: str, released: _Object, other: str, apart: Floats, *, years: float
) -> Chance:
    least = least_distances(apart)
    hits = int((least < study.constraints.recontact_km).sum())
    return Chance(
        kind, released.flown.made.arc.probe, released.part, other, hits, len(least), years, float(least.min())
    )


def _after_manoeuvre(
    study: Study, field: Field, released: _Object, begin: float, legs: Sequence[Path]
) -> Chance:
    span_s = study.refine.recontact_days * DAY_S
    epochs = np.unique(np.append(np.arange(begin, begin + span_s, _LOOK_S), begin + span_s))
    epochs = epochs[epochs <= legs[-1].epochs_tdb_s[-1]]
    if begin < released.burn_s < epochs[-1]:
        epochs = np.unique(np.append(epochs, released.burn_s))
    apart = _positions(study, field, released, epochs) - _mothership(study, field, released, epochs, legs)
    return _meeting(study, "manoeuvre", released, _MOTHERSHIP, apart, years=span_s / JULIAN_YEAR_S)


def _positions(study: Study, field: Field, released: _Object, epochs: Floats) -> Floats:
    """(looks, samples, 3) positions of dispersed trajectories, the burn flown with its errors."""
    study = own_of(study, released.flown)
    made, count = released.flown.made, study.refine.recontact_samples
    if released.part:
        random = random_of(study, released.flown, PART_RECONTACT)
        parts = part_states(study, released.flown, random, count, mothership_errors=False)
        return _sampled(field, parts, made.arc.release_tdb_s, epochs, beta=part_beta(study))
    random = random_of(study, released.flown, RECONTACT)
    states = np.repeat(made.released[None], count, axis=0)
    states[:, 3:] += spring_errors(made.spring_km_s, random.standard_normal((count, 3)), study)
    burns = np.broadcast_to(made.burn_km_s, (count, 3))
    burns = burns + execution_errors(burns, random.standard_normal((count, 7)), errors_of(study))
    early = epochs < made.arc.burn_tdb_s
    first = _sampled(field, states, made.arc.release_tdb_s, epochs[early], beta=made.beta[0])
    states = propagate(field, states, made.arc.release_tdb_s, made.arc.burn_tdb_s, beta=made.beta[0])
    states[:, 3:] += burns
    return np.concatenate(
        [first, _sampled(field, states, made.arc.burn_tdb_s, epochs[~early], beta=made.beta[1])]
    )


def _sampled(field: Field, states: Floats, now: float, epochs: Floats, *, beta: float) -> Floats:
    out = np.empty((len(epochs), len(states), 3))
    for k, t in enumerate(epochs):
        states, now = propagate(field, states, now, float(t), beta=beta), float(t)
        out[k] = states[:, :3]
    return out


def _mothership(
    study: Study, field: Field, released: _Object, epochs: Floats, legs: Sequence[Path]
) -> Floats:
    """(looks, 1, 3): with the recoil until the leg of the release ends, then as the path says, NaN between its legs."""
    arc, ends = released.flown.made.arc, [leg.epochs_tdb_s[-1] for leg in legs]
    own = next((k for k, end in enumerate(ends) if arc.release_tdb_s <= end), len(legs) - 1)
    kicked = arc.mothership + np.concatenate(
        [np.zeros(3), recoil_km_s(own_of(study, released.flown), released.flown)]
    )
    drifting = epochs <= (ends[own] if own + 1 < len(legs) else math.inf)
    out = np.full((len(epochs), 1, 3), math.nan)
    out[drifting] = _sampled(field, kicked[None], arc.release_tdb_s, epochs[drifting], beta=0.0)
    for leg in legs[own + 1 :]:
        on = (epochs >= leg.epochs_tdb_s[0]) & (epochs <= leg.epochs_tdb_s[-1])
        if on.any():
            out[on, 0] = leg.at(epochs[on])[:, :3]
    return out


def least_distances(apart: Floats) -> Floats:
    """(samples,) least of (looks, samples, 3) separations and of the straight pieces between them, NaN left out."""
    if len(apart) == 1:
        return np.linalg.norm(apart[0], axis=1)
    return np.fmin.reduce(_least_of_pieces(apart), axis=0)


def turns_back(apart: Floats) -> NDArray[np.bool_]:
    """(samples,) whether a distance falls on any straight piece between looks."""
    return (_least_of_pieces(apart) < np.linalg.norm(apart[:-1], axis=2) - _RETURN_KM).any(axis=0)


def _least_of_pieces(apart: Floats) -> Floats:
    a, d = apart[:-1], apart[1:] - apart[:-1]
    size = np.maximum(np.einsum("kni,kni->kn", d, d), 1e-300)
    u = np.clip(-np.einsum("kni,kni->kn", a, d) / size, 0.0, 1.0)
    return np.linalg.norm(a + u[..., None] * d, axis=2)
