"""Chances that a probe's hardware works, alone and together with the others of its groups.

Simple model: one chance for every probe, and a share of the failures that strikes all of them at once (one
design, one build, one software). Weibull model: dead on arrival, ageing while stored and while active,
release and encounter, each a number of the study. Further groups (a build lot, a dispenser, the relay)
have shared shares of their own. Only hardware fails together; geometry and links do not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from swarm.study.schema import SharedGroup, SurvivalSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


# --- one probe ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Phases:
    """A probe's chances phase by phase, each (n,); their product is `hardware`."""

    release: Floats
    switch_on: Floats
    flight: Floats  # of not failing while stored and while active, given that it switched on
    encounter: Floats
    within_life: Floats  # 1 or 0: no credit beyond the life a probe is built for

    @property
    def hardware(self) -> Floats:
        return self.release * self.switch_on * self.flight * self.encounter * self.within_life


def phase_chances(
    survival: SurvivalSettings,
    stored_days: ArrayLike,
    active_days: ArrayLike,
    *,
    storage_life_days: float | Floats | None = None,
    life_days: float | Floats | None = None,
) -> Phases:
    """Return the chance of each phase of the Weibull model, (n,).

    stored_days : from loading until release;  active_days : from release until the data are home

    Age is counted in active days, a stored day as `dormancy` of one, and
    R = exp(-(age / scale)^shape): time in the dark does not use up infant mortality, which begins at
    switch-on. Shape and scale after fits to launched cubesats (Langer & Bouwmeester 2016; values in the
    study's defaults, from memory).
    """
    stored, active = np.broadcast_arrays(np.asarray(stored_days, float), np.asarray(active_days, float))
    age_days = survival.dormancy * (survival.stored_before_days + stored) + active
    alive = np.ones(stored.shape, dtype=bool)
    if storage_life_days is not None:
        alive &= survival.stored_before_days + stored <= storage_life_days
    if life_days is not None:
        alive &= active <= life_days
    return Phases(
        release=np.full(stored.shape, float(survival.release_success)),
        switch_on=np.full(stored.shape, 1.0 - survival.dead_on_arrival),
        flight=weibull_survival(
            age_days, shape=survival.weibull_shape, scale_days=survival.weibull_scale_days
        ),
        encounter=np.full(stored.shape, float(survival.encounter_success)),
        within_life=alive.astype(np.float64),
    )


def weibull_survival(age_days: ArrayLike, *, shape: float, scale_days: float) -> Floats:
    """Return exp(-(age / scale)^shape), the chance of no failure up to an age; 1 at no age."""
    return np.exp(-((np.maximum(np.asarray(age_days, float), 0.0) / scale_days) ** shape))


def hardware_chances(
    survival: SurvivalSettings,
    stored_days: ArrayLike,
    active_days: ArrayLike,
    *,
    storage_life_days: float | None = None,
    life_days: float | None = None,
) -> Floats:
    """Return P(hardware works until the data are home), shared failures included, (n,).

    The simple model gives every probe the same chance, whatever its dates.
    """
    if survival.model == "simple":
        return np.full(np.shape(stored_days), float(survival.success))
    phases = phase_chances(
        survival, stored_days, active_days, storage_life_days=storage_life_days, life_days=life_days
    )
    return phases.hardware


# --- groups -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Groups:
    """Which probes fail together: `mask` (n,) has bit g set where an opportunity's probe is of group g.

    Membership hangs on the opportunity alone, never on the rest of the plan: one more probe changes nobody's
    group, so it can never lower science.
    """

    names: tuple[str, ...]
    fraction: Floats  # (g,) share of a member's failures that strikes the whole group
    mask: Ints  # (n,)


def shared_groups(
    survival: SurvivalSettings, release_jd_tdb: Floats, relayed: Bools, *, designs: NDArray[np.object_]
) -> Groups:
    """Return the groups of the study that share anything: all probes, then those listed.

    release_jd_tdb : (n,);  relayed : (n,) whether the data come home through the mothership
    designs        : (n,) name of the design of each
    """
    everyone = np.ones(len(release_jd_tdb), dtype=bool)
    listed = [("all probes", float(survival.shared_fraction), everyone)]
    listed += [
        (group.name, float(group.shared_fraction), _members(group, release_jd_tdb, relayed, designs))
        for group in survival.groups
    ]
    sharing = [entry for entry in listed if entry[1] > 0.0]
    mask = np.zeros(len(release_jd_tdb), dtype=np.int64)
    for g, (_, _, members) in enumerate(sharing):
        mask |= members.astype(np.int64) << g
    return Groups(
        tuple(name for name, _, _ in sharing), np.array([share for _, share, _ in sharing], dtype=float), mask
    )


def _members(
    group: SharedGroup, release_jd_tdb: Floats, relayed: Bools, designs: NDArray[np.object_]
) -> Bools:
    """Members are released from `release_from` until before `release_until`; of a relay only those it serves."""
    members = relayed.copy() if group.kind == "relay" else np.ones(len(release_jd_tdb), dtype=bool)
    if group.design is not None:
        members &= designs == group.design
    if group.release_from is not None:
        members &= release_jd_tdb >= group.release_from
    if group.release_until is not None:
        members &= release_jd_tdb < group.release_until
    return members


@njit(cache=True)
def group_failures(plan: Ints, hardware: Floats, mask: Ints, fraction: Floats) -> Floats:
    """Return q_common of every group, (g,): its fraction * the smallest q of its members in `plan`, 0 if none.

    plan     : (probes,) int64   opportunities, -1 an unused place
    hardware : (n,) float64      1 - q of each opportunity
    """
    common = np.zeros(fraction.size)
    for g in range(fraction.size):
        smallest = 2.0
        for i in range(plan.size):
            if plan[i] >= 0 and (mask[plan[i]] >> g) & 1:
                smallest = min(smallest, 1.0 - hardware[plan[i]])
        if smallest <= 1.0:
            common[g] = fraction[g] * smallest
    return common


@njit(cache=True)
def own_chances(plan: Ints, hardware: Floats, mask: Ints, common: Floats) -> Floats:
    """Return 1 - q_own of each place, (probes,), from (1 - q) = (1 - q_own) * product of (1 - q_common).

    The product runs over the groups of the probe; 0 at unused places and where a group surely fails. Never
    above 1 where the fractions of a probe's groups add up to at most 1, since no q_common exceeds fraction * q.
    """
    own = np.zeros(plan.size)
    for i in range(plan.size):
        if plan[i] < 0:
            continue
        spared = 1.0
        for g in range(common.size):
            if (mask[plan[i]] >> g) & 1:
                spared *= 1.0 - common[g]
        if spared > 0.0:
            own[i] = min(hardware[plan[i]] / spared, 1.0)
    return own


@njit(cache=True)
def state_chance(state: int, common: Floats) -> float:
    """Return the chance of a state of the groups; bit g of `state` set where group g has failed."""
    chance = 1.0
    for g in range(common.size):
        chance *= common[g] if (state >> g) & 1 else 1.0 - common[g]
    return chance


@njit(cache=True)
def shared_failure(plan: Ints, hardware: Floats, shared_fraction: float) -> float:
    """Return q_common of the group of all probes: shared_fraction * the smallest q in `plan`; 0 if none fly."""
    smallest = 2.0
    for i in range(plan.size):
        if plan[i] >= 0:
            smallest = min(smallest, 1.0 - hardware[plan[i]])
    return 0.0 if smallest > 1.0 else shared_fraction * smallest


@njit(cache=True)
def own_chance(hardware: float, common: float) -> float:
    """Return 1 - q_own from (1 - q) = (1 - q_common)(1 - q_own); 0 where the group surely fails."""
    if common >= 1.0:
        return 0.0
    return hardware / (1.0 - common)
