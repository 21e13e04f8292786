"""Where refined probes really arrive: the same errors flown through the transition matrix and under all forces.

The corrections are those the judgement planned, at the dates it left in the run, and flown by its policy: a sample that
would spend more than the judgement's limit in sight of the target flies without those corrections, to the same aim
point. They are computed as they would be: from what tracking or the camera knows, through the sensitivities of the
full-force arc. Gates' model for every burn, the main one included.
The target's own error stands still in space over the arc's last part and is seen by the camera only, which tells in
what direction the target is, not how far: what that does is under all forces only. All in km, km/s, s; B-plane T, R.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.corrections import AFTER_BURN, IN_SIGHT
from swarm.encounter.error_model import CORRECTIONS_MAX, Errors, errors_of
from swarm.reach.arcs.bplane import b_plane_axes
from swarm.refine.correct import Refined
from swarm.refine.nbody import Field, moved, moved_with_transition, propagate
from swarm.study.schema import Study
from targets.base.constants import DAY_S

Floats = NDArray[np.float64]
# First number of the spawn key of everything random in refinement; other stages use other numbers.
SPAWN_KEY = 5
_EXECUTION = 7
# Later or earlier than by so much no sample is followed: the forces are read for 40 days more.
_LATE_MAX_S = 20.0 * DAY_S


@dataclass(frozen=True, eq=False)
class Known:
    """What the judgement of the opportunity says about its delivery.

    corrections    : TDB seconds and kind (swarm.encounter.corrections) of each that is planned, in order, for the
                     encounter as the table has it
    target_cov_km2 : (3, 3) ICRF
    spare_km_s     : left for corrections
    sight_limit_km_s : most that a sample spends that flies corrections in sight of the target
    """

    detect_km: float
    corrections: tuple[tuple[float, int], ...]
    target_cov_km2: Floats
    spare_km_s: float
    sight_limit_km_s: float


@dataclass(frozen=True, eq=False)
class Dispersion:
    """n samples: miss (n, 2) from the aim point relative to the target, corrections spent, whether the target was seen.

    affordable : (n,) whether the probe can fly all that is planned, corrections in sight of the target included
    late_s : (n,) how much later than planned a sample passes
    corrections_s : TDB seconds and kind (swarm.encounter.corrections) of each planned correction
    released_cov, burnt_cov, encounter_cov : (6, 6) of the probe's state after spring, after burn, at the encounter's
    nominal epoch; ICRF, km and km/s
    """

    miss_km: Floats
    spent_km_s: Floats
    seen: NDArray[np.bool_]
    affordable: NDArray[np.bool_]
    late_s: Floats
    relies_on_sight: bool
    corrections_s: tuple[tuple[float, int], ...]
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
        """Share of samples whose corrections the probe can fly, all that are planned."""
        return float(self.affordable.mean())

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

    start: Floats  # (n, 9): place and velocity of the mothership, spring
    burn: Floats  # (n, 7)
    target: Floats  # (n, 3)
    corrections: Floats  # (CORRECTIONS_MAX, n, 9)

    def first(self, count: int) -> Draws:
        return self.take(np.arange(count))

    def take(self, rows: NDArray[np.int64]) -> Draws:
        return Draws(self.start[rows], self.burn[rows], self.target[rows], self.corrections[:, rows])


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
    """Fly every sample of `draws` through the transition matrix, or under all forces."""
    flight = _Flight(study, field, made, known)
    return flight.in_full_force(draws) if full else flight.through_matrix(draws)


@dataclass(frozen=True, eq=False)
class _Sheet:
    """What is kept of n samples on their way; filled in place.

    target      : (n, 3) where the target is off its place, ICRF;  target_b, along : the same in T R, and along S
    goal        : (n, 2) where the target is believed to be
    """

    draws: Draws
    target: Floats
    target_b: Floats
    along: Floats
    goal: Floats
    spent: Floats
    seen: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class _Way:
    """n samples from release to encounter; what a sample does that flies otherwise is written over.

    off : (n, 6) from the nominal state at the encounter's nominal epoch
    """

    sheet: _Sheet
    miss: Floats
    late_s: Floats
    released_cov: Floats
    burnt_cov: Floats
    off: Floats

    def take_over(self, rows: NDArray[np.int64], other: _Way) -> None:
        """Let the samples of `rows` fly as those of another way do."""
        self.sheet.spent[rows], self.sheet.seen[rows] = other.sheet.spent, other.sheet.seen
        self.miss[rows], self.late_s[rows], self.off[rows] = other.miss, other.late_s, other.off


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
        betas = [made.beta[0]] + [made.beta[1]] * (len(self._marks) - 2)
        states = [made.released, made.after_burn]
        for t, u in zip(self._marks[1:-2], self._marks[2:-1], strict=True):
            states.append(moved(field, states[-1], t, u, beta=made.beta[1]))
        self._matrices = [
            moved_with_transition(field, state, t, u, beta=beta)[1]
            for state, t, u, beta in zip(states, self._marks[:-1], self._marks[1:], betas, strict=True)
        ]
        self._to_end = self._transitions()

    def _plan(self) -> tuple[list[float], list[bool]]:
        """Dates of the corrections, and whether they are in sight of the target.

        Those after the burn keep their dates, the others go with the encounter as refinement has moved it.
        """
        made, burn_s = self._made, self._made.arc.burn_tdb_s
        shift_s = made.encounter_tdb_s - made.arc.encounter_tdb_s
        dates = [
            (date if kind == AFTER_BURN else date + shift_s, kind) for date, kind in self._known.corrections
        ]
        planned = sorted(each for each in dates if burn_s < each[0] < made.encounter_tdb_s)
        self.corrections_s = tuple(planned)
        self.relies_on_sight = any(kind == IN_SIGHT for _, kind in planned)
        return [date for date, _ in planned], [kind == IN_SIGHT for _, kind in planned]

    def _transitions(self) -> list[Floats]:
        """d state at the encounter / d state at every mark but the last, (6, 6)."""
        out, after = [], np.eye(6)
        for matrix in reversed(self._matrices):
            after = after @ matrix
            out.append(after)
        return out[::-1]

    def through_matrix(self, draws: Draws) -> Dispersion:
        """Deviations at the nominal marks, linear to the end."""
        return self._by_policy(draws, self._way_through_matrix)

    def in_full_force(self, draws: Draws) -> Dispersion:
        """Each sample on its own path and at its own dates.

        One that is found to be late, as far as tracking has told, flies its later corrections later by as much:
        computed for the nominal date, a correction would carry it on for longer than it was meant to.
        """
        return self._by_policy(draws, self._way_in_full_force)

    def _by_policy(self, draws: Draws, fly: Callable[[Draws, bool], _Way]) -> Dispersion:
        """Every sample in sight of the target where the plan relies on it; from the ground where that costs too much.

        The judgement compares the larger of what a sample spends either way with its limit. Corrections from the
        ground are flown either way, so what is spent in sight of the target is the larger.
        """
        known, way = self._known, fly(draws, True)
        affordable = way.sheet.spent <= known.spare_km_s
        poor = np.flatnonzero(way.sheet.spent > known.sight_limit_km_s)
        if self.relies_on_sight and len(poor):
            way.take_over(poor, fly(draws.take(poor), False))
        return Dispersion(
            way.miss,
            way.sheet.spent,
            way.sheet.seen,
            affordable,
            way.late_s,
            self.relies_on_sight,
            self.corrections_s,
            known.spare_km_s,
            way.released_cov,
            way.burnt_cov,
            _covariance(way.off),
        )

    def _flown(self, in_sight: bool) -> list[int]:
        """Which of the planned corrections are flown: all, or those that need no sight of the target."""
        return [j for j, optical in enumerate(self._optical) if in_sight or not optical]

    def _way_through_matrix(self, draws: Draws, in_sight: bool) -> _Way:
        sheet, off, flown = self._sheet(draws), self._start(draws), self._flown(in_sight)
        released = _covariance(off)
        off = rows_through(off, self._matrices[0])
        off[:, 3:] += self._burn_errors(draws)
        burnt = _covariance(off)
        for j in range(len(self._times)):
            off = rows_through(off, self._matrices[j + 1])
            if j in flown:
                error = self._projected(rows_through(off, self._to_end[j + 2]))
                off[:, 3:] += self._correct(sheet, j, error, sheet.target_b)
        off = rows_through(off, self._matrices[-1])
        late_s = -rows_through(off[:, :3], self._axes[:1])[:, 0] / self._speed
        return _Way(sheet, self._projected(off) - sheet.target_b, late_s, released, burnt, off)

    def _way_in_full_force(self, draws: Draws, in_sight: bool) -> _Way:
        sheet, arc, made, beta = self._sheet(draws), self._made.arc, self._made, self._made.beta
        off = self._start(draws)
        states = propagate(self._field, made.released + off, arc.release_tdb_s, arc.burn_tdb_s, beta=beta[0])
        states[:, 3:] += made.burn_km_s + self._burn_errors(draws)
        released, burnt = _covariance(off), _covariance(states - made.after_burn)
        now = np.full(len(states), arc.burn_tdb_s)
        arrival = np.full(len(states), made.encounter_tdb_s)
        for j in self._flown(in_sight):
            then = np.maximum(arrival - (made.encounter_tdb_s - self._times[j]), now)
            states, now = propagate(self._field, states, now, then, beta=beta[1]), then
            arrival, error = self._passes(states, now, arrival)
            in_range = self._imaged_km(j) <= self._known.detect_km
            sighted = self._sighted(sheet, states, now) if in_range else sheet.goal
            states[:, 3:] += self._correct(sheet, j, error, sighted)
        _, miss = self._passes(states, now, arrival, aside=sheet.target)
        end = propagate(self._field, states, now, made.encounter_tdb_s, beta=beta[1])
        return _Way(sheet, miss, arrival - made.encounter_tdb_s, released, burnt, end - made.probe)

    def _passes(
        self, states: Floats, now: Floats, arrival: Floats, *, aside: Floats | None = None
    ) -> tuple[Floats, Floats]:
        """(n,) dates and (n, 2) miss at which samples go through the nominal B-plane, from the dates known so far.

        aside : (n, 3) by which the target is off its place

        Not through the plane of each sample's own velocity: that is turned, and what passes 20 000 km beside would come
        out 100 km from where the camera, in nominal axes, puts it.
        """
        made = self._made
        relative = self._from_target(propagate(self._field, states, now, arrival, beta=made.beta[1]), arrival)
        if aside is not None:
            relative[:, :3] -= aside
        r, v = rows_through(relative[:, :3], self._axes), rows_through(relative[:, 3:], self._axes)
        late_s = -r[:, 0] / v[:, 0]
        miss = r[:, 1:] + late_s[:, None] * v[:, 1:] - made.b_km
        limit = made.encounter_tdb_s - _LATE_MAX_S, made.encounter_tdb_s + _LATE_MAX_S
        return np.clip(arrival + late_s, *limit), miss

    def _from_target(self, states: Floats, dates: Floats) -> Floats:
        """(n, 6) states at (n,) dates, less the target's where it is expected."""
        target = np.repeat(self._made.target[None], len(states), axis=0)
        return states - propagate(self._field, target, self._made.encounter_tdb_s, dates)

    def _sheet(self, draws: Draws) -> _Sheet:
        count = len(draws.start)
        target = rows_through(draws.target, root_of(self._known.target_cov_km2))
        in_axes = rows_through(target, self._axes)
        return _Sheet(
            draws, target, in_axes[:, 1:], in_axes[:, 0], np.zeros((count, 2)), np.zeros(count),
            np.zeros(count, dtype=bool),
        )  # fmt: skip

    def _burn_errors(self, draws: Draws) -> Floats:
        burn = np.broadcast_to(self._made.burn_km_s, (len(draws.start), 3))
        return execution_errors(burn, draws.burn, self._errors)

    def _imaged_km(self, j: int) -> float:
        """How far the target is when the last image before the j-th correction is taken."""
        return self._speed * (self._made.encounter_tdb_s - self._times[j] + self._errors.turnaround_s)

    def _sighted(self, sheet: _Sheet, states: Floats, now: Floats) -> Floats:
        """(n, 2) where the last image puts the target beside its expected place, T R.

        The image gives a direction; how far the target is, is taken from its expected place. A target that is farther
        away is so believed nearer to the line of sight, and a correction by that leads to it all the same: it is flown
        for longer. What stays is the aim point's distance times (off along)/(distance).
        """
        relative = self._from_target(states, now)
        then = self._errors.turnaround_s * relative[:, 3:] - relative[:, :3]
        in_axes = rows_through(then, self._axes)
        ahead, beside = in_axes[:, :1], in_axes[:, 1:]
        return (beside + sheet.target_b) * ahead / (ahead + sheet.along[:, None]) - beside

    def _correct(self, sheet: _Sheet, j: int, error: Floats, sighted: Floats) -> Floats:
        """(n, 3) velocity changes of the j-th correction as executed.

        error : (n, 2) predicted misses;  sighted : (n, 2) where the camera, if it sees the target, puts it
        """
        errors, g, detect = self._errors, sheet.draws.corrections[j], self._known.detect_km
        to_b = self._axes[1:] @ self._to_end[j + 2][:3]
        far = self._imaged_km(j)
        apart = np.linalg.norm(error - sheet.target_b, axis=1)
        in_range = sheet.seen | (np.hypot(far + sheet.along, apart) <= detect)
        sees = (far <= detect) & (far + sheet.along > 0.0) & in_range
        sheet.seen[sees] = True
        sheet.goal[sees] = sighted[sees]
        noise = rows_through(g[:, :2], root_of(self._unknown(to_b)))
        noise[sees] = errors.sight_rad * far * g[sees, :2]
        dv = -rows_through(error - sheet.goal + noise, np.linalg.pinv(to_b[:, 3:]))
        if self._optical[j]:
            dv[~sees] = 0.0
        size = np.linalg.norm(dv, axis=1)
        sheet.spent[:] += size
        return dv + np.where((size > 0.0)[:, None], execution_errors(dv, g[:, 2:], errors), 0.0)

    def _start(self, draws: Draws) -> Floats:
        """Deviations just after the spring: the mothership's orbit, the spring along and across its direction."""
        errors = self._errors
        off = np.empty((len(draws.start), 6))
        off[:, :3] = errors.mothership_km * draws.start[:, :3]
        off[:, 3:] = errors.mothership_km_s * draws.start[:, 3:6]
        off[:, 3:] += spring_errors(self._made.spring_km_s, draws.start[:, 6:], self._study)
        return off

    def _unknown(self, to_b: Floats) -> Floats:
        """(2, 2) of what tracking does not know of the probe."""
        errors = self._errors
        return (
            errors.probe_km**2 * to_b[:, :3] @ to_b[:, :3].T
            + errors.probe_km_s**2 * to_b[:, 3:] @ to_b[:, 3:].T
        )

    def _projected(self, off: Floats) -> Floats:
        """(n, 2) B.T, B.R less the nominal, to first order in deviations at the nominal encounter."""
        return rows_through(off[:, :3], self._axes[1:])


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
