"""Insertion into an orbit by impulses at periapsis, what finite burns lose, what would do where thrust is too small.

    dv = sqrt(v_inf^2 + 2 mu/r_p) - sqrt(mu (2/r_p - 1/a))
    loss = dv (mu/r_p^3) t_b^2/24                                 [1]

The first burn captures; the rest is shared evenly over later passes of periapsis. A change of plane is a turn of the
velocity there: all burns lie along the one difference of two vectors. Above a loss of 2 % the first burn, the longest,
is integrated.

References
----------
[1] Robbins 1966, "An analytical study of the impulsive approximation", AIAA J. 4:1417: from memory
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.optimize import brentq

from swarm.encounter.orbit.finite_burn import least_cost_km_s
from targets.base.constants import DAY_S
from targets.base.constants import STANDARD_GRAVITY_M_S2 as G0_M_S2

# Losses above which a burn is integrated, and above which it is refused. Own choices.
INTEGRATED, REFUSED = 0.02, 0.10
# A captured probe must come back: its apoapsis within this share of the sphere of influence. Own choice.
CAPTURE_SHARE = 0.5
BURNS_MAX = 60


@dataclass(frozen=True)
class Thruster:
    """Of a probe of a mass, kg, s, N."""

    wet_mass_kg: float
    isp_s: float
    thrust_n: float

    def burn_s(self, dv_m_s: float, spent_m_s: float = 0.0) -> float:
        """How long a burn takes, after others: the mass falls as it burns."""
        exhaust = self.isp_s * G0_M_S2
        mass = self.wet_mass_kg * math.exp(-spent_m_s / exhaust)
        return mass * exhaust / self.thrust_n * (1.0 - math.exp(-dv_m_s / exhaust))


@dataclass(frozen=True)
class IncomingPath:
    """A hyperbola about a body: excess speed, periapsis from the centre; the sphere of influence."""

    mu_km3_s2: float
    v_inf_km_s: float
    periapsis_km: float
    influence_km: float

    @property
    def speed_km_s(self) -> float:
        """At periapsis."""
        return math.sqrt(self.v_inf_km_s**2 + 2.0 * self.mu_km3_s2 / self.periapsis_km)

    def orbit_speed_km_s(self, apoapsis_km: float) -> float:
        """At periapsis of an orbit with this apoapsis."""
        mu, r = self.mu_km3_s2, self.periapsis_km
        return math.sqrt(mu * (2.0 / r - 2.0 / (r + apoapsis_km)))


@dataclass(frozen=True)
class Insertion:
    """What an insertion comes to.

    impulsive_m_s : without losses, the plane's change in it
    burns_m_s     : each, without losses
    burn_s        : how long each takes
    loss_m_s      : by finite burns, of all
    integrated    : whether the loss of the first is integrated, not by the law
    days          : from the first burn to the last: the revolutions between
    refused       : "" or why it cannot be done, with what would do
    """

    impulsive_m_s: float
    burns_m_s: tuple[float, ...]
    burn_s: tuple[float, ...]
    loss_m_s: float
    integrated: bool
    days: float
    refused: str = ""

    @property
    def total_m_s(self) -> float:
        return self.impulsive_m_s + self.loss_m_s


def insertion_m_s(arrival: IncomingPath, apoapsis_km: float, turned_rad: float = 0.0) -> float:
    """The impulse at periapsis; `turned_rad`: the change of plane about the line to it."""
    before, after = arrival.speed_km_s, arrival.orbit_speed_km_s(apoapsis_km)
    straight = before - after
    return 1e3 * math.sqrt(straight**2 + 4.0 * before * after * math.sin(0.5 * turned_rad) ** 2)


def finite_loss_m_s(dv_m_s: float, burn_s: float, *, mu_km3_s2: float, radius_km: float) -> float:
    """What a burn of this length about periapsis loses, by the law of [1]."""
    return dv_m_s * mu_km3_s2 / radius_km**3 * burn_s**2 / 24.0


def split_m_s(
    arrival: IncomingPath, apoapsis_km: float, burns: int, turned_rad: float = 0.0
) -> tuple[float, ...]:
    """The burns: the first at least captures, the others share what is left evenly."""
    total = insertion_m_s(arrival, apoapsis_km, turned_rad)
    farthest = max(CAPTURE_SHARE * arrival.influence_km, apoapsis_km)
    captured = arrival.orbit_speed_km_s(farthest)

    def over(share: float) -> float:
        return _speed_after(arrival, apoapsis_km, turned_rad, share) - captured

    least = brentq(over, 0.0, 1.0) if over(1.0) < 0.0 < over(0.0) else 1.0
    first = max(1.0 / burns, least)
    if burns == 1 or first > 1.0 - 1e-9:
        return (total,)
    return (first * total, *[(1.0 - first) * total / (burns - 1)] * (burns - 1))


def _speed_after(arrival: IncomingPath, apoapsis_km: float, turned_rad: float, share: float) -> float:
    """Speed at periapsis, km/s, when a share of the difference is burnt."""
    before, after = arrival.speed_km_s, arrival.orbit_speed_km_s(apoapsis_km)
    along = before + share * (after * math.cos(turned_rad) - before)
    return math.hypot(along, share * after * math.sin(turned_rad))


def insert(
    arrival: IncomingPath, apoapsis_km: float, thruster: Thruster, *, burns: int, turned_rad: float = 0.0
) -> Insertion:
    """Plan an insertion; refused, with what would do, where finite burns lose more than a tenth."""
    parts = split_m_s(arrival, apoapsis_km, burns, turned_rad)
    losses, times = _losses(arrival, parts, thruster)
    total = sum(parts)
    days = _days_between(arrival, apoapsis_km, turned_rad, parts)
    share = sum(losses) / total if total else 0.0
    made = Insertion(total, parts, times, sum(losses), False, days)
    if share <= INTEGRATED:
        return made
    if share <= REFUSED:
        # the first burn alone is in the plane of the arrival: a turn of it has no part in what is flown
        captured = _apoapsis_after(arrival, parts[0]) if len(parts) > 1 else apoapsis_km
        straight = insertion_m_s(arrival, captured)
        first = integrated_loss_m_s(arrival, straight, captured, thruster)
        if math.isfinite(first) and (first + sum(losses[1:])) / total <= REFUSED:
            return Insertion(total, parts, times, first + sum(losses[1:]), True, days)
        share = max(share, (first + sum(losses[1:])) / total) if math.isfinite(first) else math.inf
    return Insertion(
        total, parts, times, sum(losses), False, days,
        f"finite burns of {thruster.thrust_n:g} N lose {_percent(share)} of {total:.0f} m/s in {len(parts)} "
        f"burn{'s' if len(parts) > 1 else ''} of up to {max(times):.0f} s (limit {REFUSED:.0%}); "
        f"{what_would_do(arrival, apoapsis_km, thruster, burns=burns, turned_rad=turned_rad)}",
    )  # fmt: skip


def what_would_do(
    arrival: IncomingPath, apoapsis_km: float, thruster: Thruster, *, burns: int, turned_rad: float = 0.0
) -> str:
    """The least thrust with these burns, and the least number of burns with this thrust, that keep the limit."""

    def share(thrust_n: float, count: int) -> float:
        parts = split_m_s(arrival, apoapsis_km, count, turned_rad)
        own = Thruster(thruster.wet_mass_kg, thruster.isp_s, thrust_n)
        return sum(_losses(arrival, parts, own)[0]) / sum(parts)

    low, high = thruster.thrust_n, 1e4 * thruster.thrust_n
    thrust = brentq(lambda x: share(math.exp(x), burns) - REFUSED, math.log(low), math.log(high))
    said = f"{math.exp(thrust):.2g} N would do in {burns} burn{'s' if burns > 1 else ''}"
    enough = next((n for n in range(burns + 1, BURNS_MAX + 1) if share(low, n) <= REFUSED), None)
    if enough is None:
        return f"{said}; with {low:g} N no number of burns up to {BURNS_MAX} does: the first must capture"
    return f"{said}, or {enough} burns with {low:g} N"


def integrated_loss_m_s(
    arrival: IncomingPath, dv_m_s: float, apoapsis_km: float, thruster: Thruster
) -> float:
    """The loss of one burn into an orbit, flown. `dv_m_s`: what it takes as an impulse."""
    spent = least_cost_km_s(
        arrival.mu_km3_s2, arrival.v_inf_km_s, arrival.periapsis_km, apoapsis_km, thrust_n=thruster.thrust_n,
        mass_kg=thruster.wet_mass_kg, exhaust_km_s=1e-3 * thruster.isp_s * G0_M_S2,
        typical_s=thruster.burn_s(dv_m_s),
    )  # fmt: skip
    return 1e3 * spent - dv_m_s


def _losses(
    arrival: IncomingPath, parts: tuple[float, ...], thruster: Thruster
) -> tuple[list[float], tuple[float, ...]]:
    losses, times, spent = [], [], 0.0
    for part in parts:
        times.append(thruster.burn_s(part, spent))
        losses.append(
            finite_loss_m_s(part, times[-1], mu_km3_s2=arrival.mu_km3_s2, radius_km=arrival.periapsis_km)
        )
        spent += part
    return losses, tuple(times)


def _days_between(
    arrival: IncomingPath, apoapsis_km: float, turned_rad: float, parts: tuple[float, ...]
) -> float:  # fmt: skip
    """From the first burn to the last: a revolution of the orbit after each."""
    total, done, days = sum(parts), 0.0, 0.0
    for part in parts[:-1]:
        done += part
        speed = _speed_after(arrival, apoapsis_km, turned_rad, done / total)
        a = 1.0 / (2.0 / arrival.periapsis_km - speed**2 / arrival.mu_km3_s2)
        days += 2.0 * math.pi * math.sqrt(a**3 / arrival.mu_km3_s2) / DAY_S
    return days


def _apoapsis_after(arrival: IncomingPath, dv_m_s: float) -> float:
    """Of the orbit that a burn against the speed leaves."""
    speed = arrival.speed_km_s - 1e-3 * dv_m_s
    a = 1.0 / (2.0 / arrival.periapsis_km - speed**2 / arrival.mu_km3_s2)
    return 2.0 * a - arrival.periapsis_km if a > 0.0 else CAPTURE_SHARE * arrival.influence_km


def _percent(share: float) -> str:
    return f"{share:.1%}" if share < 1.0 else "more than all"
