"""Where refined probes really arrive: the same errors flown through the transition matrix and in full force.

The corrections are those the judgement planned, at its times, and are computed as they would be: from what tracking or
the camera knows, through the sensitivities of the full-force arc. Gates' model for every burn, the main one included.
The target's own error stands still in space over the arc's last part and is seen by the camera only. All in km, km/s,
s; B-plane T, R.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.arcs.bplane import b_plane_axes, b_vector_km
from swarm.delivery import CORRECTIONS_MAX, OPTICAL, Errors, errors_of, plan_corrections, sight_s
from swarm.refine.correct import Refined
from swarm.refine.nbody import Field, moved, moved_with_transition, propagate
from swarm.study import Study

Floats = NDArray[np.float64]
# Moves (n, 6) deviations from the nominal arc from mark k to mark k + 1.
Mover = Callable[[Floats, int], Floats]

# First number of the spawn key of everything random in refinement; other stages use other numbers.
SPAWN_KEY = 5
_EXECUTION = 7


@dataclass(frozen=True, eq=False)
class Known:
    """What the judgement of the opportunity says about its delivery.

    before_km  : larger sigma of the miss before the target is seen;  time_s : sigma of the time of closest approach
    corrections: how many were planned, which tells whether those in sight of the target are among them
    target_cov_km2 : (3, 3) ICRF;  spare_km_s : left for corrections
    """

    detect_km: float
    before_km: float
    time_s: float
    corrections: int
    target_cov_km2: Floats
    spare_km_s: float


@dataclass(frozen=True, eq=False)
class Dispersion:
    """n samples: miss (n, 2) from the aim point relative to the target, corrections spent, whether the target was seen.

    late_s        : (n,) how much later than planned a sample passes, to first order
    last_km_s     : (n, 3) its last correction, as computed
    released_cov, burnt_cov, encounter_cov : (6, 6) of the probe's state after spring, after burn, at the encounter's
    nominal epoch; ICRF, km and km/s
    """

    miss_km: Floats
    spent_km_s: Floats
    seen: NDArray[np.bool_]
    late_s: Floats
    last_km_s: Floats
    relies_on_sight: bool
    spare_km_s: float
    released_cov: Floats
    burnt_cov: Floats
    encounter_cov: Floats

    @property
    def delivered(self) -> NDArray[np.bool_]:
        """(n,) samples the probe can fly, with the target in sight where the plan relies on it."""
        flown = self.spent_km_s <= self.spare_km_s
        return flown & (self.seen | (not self.relies_on_sight))

    @property
    def carried(self) -> float:
        """Share of samples whose corrections the probe can fly."""
        return float((self.spent_km_s <= self.spare_km_s).mean())

    @property
    def covariance_km2(self) -> Floats:
        """(2, 2) about the aim point, of the delivered samples: a few lost ones would hide what the others do."""
        kept = self.miss_km[self.delivered]
        return np.einsum("ni,nj->ij", kept, kept) / max(len(kept), 1)

    @property
    def sigma_km(self) -> float:
        return math.sqrt(float(np.linalg.eigvalsh(self.covariance_km2)[-1]))

    @property
    def dv99_m_s(self) -> float:
        """The ceil(0.99 n)-th smallest sum."""
        ordered = np.sort(self.spent_km_s)
        return 1e3 * float(ordered[math.ceil(0.99 * len(ordered)) - 1])

    @property
    def success(self) -> float:
        """Share of delivered samples."""
        return float(self.delivered.mean())


@dataclass(frozen=True, eq=False)
class Draws:
    """Standard normals of n samples; the full-force ones are the first of the linear ones."""

    start: Floats  # (n, 9): place and velocity of the carrier, spring
    burn: Floats  # (n, 7)
    target: Floats  # (n, 3)
    corrections: Floats  # (CORRECTIONS_MAX, n, 9)

    def first(self, count: int) -> Draws:
        return Draws(self.start[:count], self.burn[:count], self.target[:count], self.corrections[:, :count])


def draws_of(seed: int, opportunity: int, count: int) -> Draws:
    """Draw the numbers of one arc; they depend on the seed and the opportunity only."""
    random = np.random.Generator(
        np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(SPAWN_KEY, opportunity)))
    )
    return Draws(
        random.standard_normal((count, 9)),
        random.standard_normal((count, _EXECUTION)),
        random.standard_normal((count, 3)),
        random.standard_normal((CORRECTIONS_MAX, count, 9)),
    )


def disperse(
    study: Study, field: Field, made: Refined, *, known: Known, full: bool, draws: Draws
) -> Dispersion:
    """Fly every sample of `draws` through the transition matrix, or in full force."""
    flight = _Flight(study, field, made, known)
    if full:
        return flight.fly(draws, flight.in_full_force, flight.straight_past)
    return flight.fly(draws, flight.through_matrix, flight.projected)


class _Flight:
    """The nominal arc with its marks: release, burn, corrections, encounter."""

    def __init__(self, study: Study, field: Field, made: Refined, known: Known) -> None:
        self._study, self._field, self._made, self._known = study, field, made, known
        self._errors: Errors = errors_of(study)
        self._axes = b_plane_axes(made.v_rel_km_s)[0]
        self._speed = float(np.linalg.norm(made.v_rel_km_s))
        self._times, self._optical = self._plan()
        arc = made.arc
        self._marks = [arc.release_tdb_s, arc.burn_tdb_s, *self._times, made.encounter_tdb_s]
        self._betas = [made.beta[0]] + [made.beta[1]] * (len(self._marks) - 2)
        self._states = [made.released, made.after_burn]
        for t, u in zip(self._marks[1:-2], self._marks[2:-1], strict=True):
            self._states.append(moved(field, self._states[-1], t, u, beta=made.beta[1]))
        legs = [
            moved_with_transition(field, state, t, u, beta=beta)
            for state, t, u, beta in zip(
                self._states, self._marks[:-1], self._marks[1:], self._betas, strict=True
            )
        ]
        self._matrices = [matrix for _, matrix in legs]
        self._end = legs[-1][0]
        self._to_end = self._transitions()

    def _plan(self) -> tuple[list[float], list[bool]]:
        """Times and kinds of the corrections: with those in sight where the judgement counted them."""
        made, known = self._made, self._known
        cruise_s = made.encounter_tdb_s - made.arc.burn_tdb_s
        seen_s = sight_s(known.detect_km, self._speed, known.before_km, known.time_s * self._speed)
        plans = [
            plan_corrections(made.probe, self._axes, cruise_s, seen_s, self._errors, optical)
            for optical in (True, False)
        ]
        plan = next((plan for plan in plans if plan.planned == known.corrections), plans[0])
        self.relies_on_sight = plan.optical > 0
        before = plan.before_s[: plan.planned]
        return list(made.encounter_tdb_s - before), [
            bool(kind == OPTICAL) for kind in plan.kind[: plan.planned]
        ]

    def _transitions(self) -> list[Floats]:
        """d state at the encounter / d state at every mark but the last, (6, 6)."""
        out, after = [], np.eye(6)
        for matrix in reversed(self._matrices):
            after = after @ matrix
            out.append(after)
        return out[::-1]

    def through_matrix(self, off: Floats, k: int) -> Floats:
        return rows_through(off, self._matrices[k])

    def in_full_force(self, off: Floats, k: int) -> Floats:
        now, later = self._marks[k], self._marks[k + 1]
        after = self._states[k + 1].copy() if k + 1 < len(self._states) else self._end
        if k == 0:
            after = self._made.before_burn
        flown = propagate(self._field, self._states[k] + off, now, later, beta=self._betas[k])
        return flown - after

    def fly(self, draws: Draws, move: Mover, arrive: Callable[[Floats], Floats]) -> Dispersion:
        errors, made, count = self._errors, self._made, len(draws.start)
        off = self._start(draws)
        covariances = [_covariance(off)]
        off = move(off, 0)
        off[:, 3:] += execution_errors(np.broadcast_to(made.burn_km_s, (count, 3)), draws.burn, errors)
        covariances.append(_covariance(off))
        low = root_of(self._known.target_cov_km2)
        target = rows_through(draws.target, low)
        goal, spent, seen = np.zeros((count, 2)), np.zeros(count), np.zeros(count, dtype=bool)
        last = np.zeros((count, 3))
        in_axes = rows_through(target, self._axes)
        along, target_b = in_axes[:, 0], in_axes[:, 1:]
        for j, (t, optical) in enumerate(zip(self._times, self._optical, strict=True)):
            k = j + 2
            off = move(off, k - 1)
            to_b, g = self._axes[1:] @ self._to_end[k][:3], draws.corrections[j]
            error = arrive(rows_through(off, self._to_end[k]))
            far = self._speed * (made.encounter_tdb_s - t + errors.turnaround_s)
            apart = np.linalg.norm(error - target_b, axis=1)
            sees = (far <= self._known.detect_km) & (
                seen | (np.hypot(far + along, apart) <= self._known.detect_km)
            )
            seen |= sees
            goal[sees] = target_b[sees]
            noise = rows_through(g[:, :2], root_of(self._unknown(to_b)))
            noise[sees] = errors.sight_rad * far * g[sees, :2]
            dv = -rows_through(error - goal + noise, np.linalg.pinv(to_b[:, 3:]))
            if optical:
                dv[~sees] = 0.0
            spent += np.linalg.norm(dv, axis=1)
            acts = np.linalg.norm(dv, axis=1) > 0.0
            off[:, 3:] += dv
            last[acts] = dv[acts]
            off[acts, 3:] += execution_errors(dv, g[:, 2:], errors)[acts]
        off = move(off, len(self._marks) - 2)
        miss = arrive(off) - target_b
        return Dispersion(
            miss,
            spent,
            seen,
            -rows_through(off[:, :3], self._axes[:1])[:, 0] / self._speed,
            last,
            self.relies_on_sight,
            self._known.spare_km_s,
            covariances[0],
            covariances[1],
            _covariance(off),
        )

    def _start(self, draws: Draws) -> Floats:
        """Deviations just after the spring: the carrier's orbit, the spring along and across its direction."""
        errors = self._errors
        off = np.empty((len(draws.start), 6))
        off[:, :3] = errors.carrier_km * draws.start[:, :3]
        off[:, 3:] = errors.carrier_km_s * draws.start[:, 3:6]
        off[:, 3:] += spring_errors(self._made.spring_km_s, draws.start[:, 6:], self._study)
        return off

    def _unknown(self, to_b: Floats) -> Floats:
        """(2, 2) of what tracking does not know of the probe."""
        errors = self._errors
        return (
            errors.probe_km**2 * to_b[:, :3] @ to_b[:, :3].T
            + errors.probe_km_s**2 * to_b[:, 3:] @ to_b[:, 3:].T
        )

    def projected(self, off: Floats) -> Floats:
        """(n, 2) B.T, B.R less the nominal, to first order in deviations at the nominal encounter."""
        return rows_through(off[:, :3], self._axes[1:])

    def straight_past(self, off: Floats) -> Floats:
        """The same, each sample along its own straight line: early or late and askew are not the nominal's plane."""
        nominal = self._end - self._made.target
        relative = nominal + off
        return b_vector_km(relative[:, :3], relative[:, 3:]) - b_vector_km(nominal[:3], nominal[3:])


def execution_errors(dv: Floats, z: Floats, errors: Errors) -> Floats:
    """Gates' errors of (n, 3) burns from (n, 7) normals: fixed on each axis, proportional along, pointing across."""
    return (
        errors.fixed_km_s * z[:, :3]
        + errors.proportional * z[:, 3:4] * dv
        + errors.pointing_rad * np.cross(dv, z[:, 4:])
    )


def spring_errors(spring_km_s: Floats, z: Floats, study: Study) -> Floats:
    """(n, 3) velocity errors of a spring from (n, 3) normals: its speed along, its direction across."""
    size, delivery = float(np.linalg.norm(spring_km_s)), study.delivery
    if size == 0.0:
        return np.zeros((len(z), 3))
    along = spring_km_s / size
    part = rows_through(z, along[None]) * along
    off = size * delivery.spring_fraction * part
    off += size * math.radians(delivery.spring_direction_deg) * (z - part)
    return off


def _covariance(off: Floats) -> Floats:
    """About the nominal state."""
    return np.einsum("ni,nj->ij", off, off) / len(off)


def rows_through(rows: Floats, matrix: Floats) -> Floats:
    """(n, k) rows times the transpose of (m, k): not by BLAS, whose last bits depend on its number of threads."""
    return np.einsum("nk,mk->nm", rows, matrix)


def root_of(covariance: Floats) -> Floats:
    """A square root of a covariance that may be singular."""
    values, vectors = np.linalg.eigh(covariance)
    # the sign of an eigenvector is the library's choice; fix it so that the same bytes come out
    signs = np.where(vectors[np.abs(vectors).argmax(axis=0), range(len(values))] < 0.0, -1.0, 1.0)
    return vectors * signs * np.sqrt(np.maximum(values, 0.0))
