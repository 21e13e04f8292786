"""Where a probe arrives, its margins, how a plan is flown: [delivery], [knowledge], [margins], [refine]."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, Strict

from swarm.study.fields import FROM_MEMORY, Section, default, optional

Days = Annotated[float, Field(gt=0, le=20_000)]


class DeliverySettings(Section):
    """[delivery]: where the probe really arrives: errors of the spring, corrections, and when they are flown."""

    spring_fraction: float = default(0.05, "-", f"{FROM_MEMORY}: of its speed, 2-10 %", ge=0, le=1)
    spring_direction_deg: float = default(1.0, "deg", f"{FROM_MEMORY}: 0.5-3 deg", ge=0, le=90)
    corrections_after_burn_days: Annotated[tuple[Days, ...], Strict(False)] = default(
        (7.0,), "d", f"{FROM_MEMORY}: clean-up of the main burn", max_length=5
    )
    corrections_before_days: Annotated[tuple[Days, ...], Strict(False)] = default(
        (60.0, 14.0), "d", f"{FROM_MEMORY}: 60 and 14 days before the encounter", max_length=5
    )
    last_before_days: float = default(
        1.0, "d", f"{FROM_MEMORY}: last correction a day before, or when the target is seen", gt=0, le=100
    )
    turnaround_hours: float = default(
        6.0, "h", "own choice: from the last image used to the burn, by way of the ground", ge=0, le=1000
    )
    last_min_hours: float = default(2.0, "h", "own choice: later the probe only points", ge=0, le=1000)
    acquire_hours: float = default(
        0.5, "h", "own choice: time its own tracking needs to find the target", ge=0, le=1000
    )
    correction_budget_m_s: float | None = optional(
        "m/s",
        "99th percentile of what undoes the main burn's errors at probe.burn_limit_m_s",
        ge=0,
        le=10_000,
    )
    samples: int = default(2000, "-", "own choice: the 99th percentile to 3 %", ge=100, le=100_000)


class KnowledgeSettings(Section):
    """[knowledge]: one-sigma errors per axis of what is known of mothership, probe and targets."""

    mothership_position_km: float = default(
        2.0, "km", f"{FROM_MEMORY}: tracked mothership 1-3 km", likely=(0, 1000), ge=0, le=1e7
    )
    mothership_velocity_m_s: float = default(
        0.0005, "m/s", f"{FROM_MEMORY}: tracked mothership", likely=(0, 1), ge=0, le=1e4
    )
    probe_position_km: float = default(
        30.0, "km", f"{FROM_MEMORY}: lone cubesat 10-50 km", likely=(0, 10000), ge=0, le=1e7
    )
    probe_velocity_m_s: float = default(
        0.005, "m/s", f"{FROM_MEMORY}: lone cubesat 5 mm/s", likely=(0, 10), ge=0, le=1e4
    )
    target_floor_km: float = default(
        100.0, "km", f"{FROM_MEMORY}: 0.05-0.1 arcsec at belt distances", likely=(0, 100000), ge=0, le=1e7
    )
    runoff_fraction: float = default(
        1.0,
        "-",
        "share of the printed runoff of U that is one sigma where a body has no covariance; Minor Planet Center, "
        "Uncertainty parameter U: 1 keeps its factor 3 for optimistic errors, 0.333 takes it off",
        gt=0,
        le=10,
    )


class MarginSettings(Section):
    """[margins]: added to the main burn before propellant is counted, and to masses in the budgets.

    Masses first take the maturity of probe and dispenser, then `system_fraction` on the sum.
    """

    deterministic_fraction: float = default(0.05, "-", f"{FROM_MEMORY}: computed manoeuvres +5 %", ge=0, le=5)
    attitude_m_s: float = default(2.0, "m/s", FROM_MEMORY, ge=0, le=1000)
    attitude_fraction: float = default(1.0, "-", f"{FROM_MEMORY}: attitude control +100 %", ge=0, le=10)
    residual_fraction: float = default(0.02, "-", f"{FROM_MEMORY}: residuals 2-5 %", ge=0, lt=1)
    probe_maturity_fraction: float = default(
        0.10, "-", "ECSS equipment categories: 5 % off the shelf, 10 % modified, 20 % new", ge=0, le=2
    )
    dispenser_maturity_fraction: float = default(
        0.05, "-", "ECSS equipment categories: off the shelf", ge=0, le=2
    )
    system_fraction: float = default(0.20, "-", f"{FROM_MEMORY}: system margin at concept level", ge=0, le=2)


class RefineSettings(Section):
    """[refine]: how many dispersed trajectories are flown, and how long what is left in space is followed."""

    linear_samples: int = default(10_000, "-", "own choice: a covariance to 5 %", ge=100, le=1_000_000)
    full_samples: int = default(
        1000, "-", "own choice: of the linear ones, flown under all forces", ge=10, le=100_000
    )
    pass_samples: int = default(
        300,
        "-",
        "own choice: a sigma to 4 %; low passes, flown in the field about the planet",
        ge=20,
        le=100_000,
    )
    bound_samples: int = default(
        40,
        "-",
        "own choice: half a second each; what stays bound to the planet after a low pass",
        ge=5,
        le=10_000,
    )
    recontact_samples: int = default(50, "-", "own choice: a chance of 6 % seen with 95 %", ge=1, le=100_000)
    recontact_days: float = default(30.0, "d", f"{FROM_MEMORY}: a month after each release", gt=0, le=1000)
    impact_samples: int = default(
        600, "-", "own choice: 1 to 2 s a probe; none of 600 says below 0.6 % with 95 %", ge=1, le=1_000_000
    )
    impact_years: float = default(
        50.0, "years", f"{FROM_MEMORY}: planetary protection asks for 50 years", gt=0, le=100
    )
    earth_years: float = default(100.0, "years", "own choice: return to the Earth, a century", gt=0, le=200)
