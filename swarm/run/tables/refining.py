"""Tables of a plan flown under all forces, of what it may meet, and the files handed over."""

from __future__ import annotations

from swarm.run.tables.declaration import CSV, OTHER, Column, Table, flag, real, text, vector, whole

REFINED = Table(
    "refined",
    "refine",
    "a probe of the plan under Sun, planets, Moon, relativity and solar pressure",
    (
        whole("plan", "number of the plan in `front`"),
        whole("probe", "place in the plan, from 0"),
        whole("opportunity", "number of the opportunity"),
        text("target", "designation"),
        real("burn_m_s", "m/s", "main impulse that hits the aim point"),
        real("burn_change_m_s", "m/s", "its length less the tabulated one's"),
        real("aim_km", "km", "distance of the aim point"),
        real("miss_km", "km", "distance from the aim point reached"),
        real("delivery_sigma_km", "km", "larger principal sigma of the delivery, linear"),
        real("dv99_m_s", "m/s", "99th percentile of the sum of corrections"),
        real("success", "-", "share of the samples that can pay their corrections"),
        real("aim_t_km", "km", "aim point along T"),
        real("aim_r_km", "km", "aim point along R"),
        real("b_t_km", "km", "place reached along T"),
        real("b_r_km", "km", "place reached along R"),
        real("release_tdb_s", "s", "release, seconds past J2000 TDB"),
        real("burn_tdb_s", "s", "burn"),
        real("encounter_tdb_s", "s", "closest approach"),
        real("encounter_shift_s", "s", "its change against the table"),
        *vector("burn_", "m/s", "main impulse", suffix="_m_s"),
        *vector("spring_", "m/s", "velocity given by the spring", suffix="_m_s"),
        real("v_rel_km_s", "km/s", "speed relative to the target"),
        *vector("v_rel_", "km/s", "velocity relative to the target", suffix="_km_s"),
        real("sun_range_au", "au", "target to Sun"),
        real("burn_s", "s", "duration of the burn at the study's thrust"),
        real("burn_lead_s", "s", "from ignition to the impulse that stands for it"),
        real("finite_miss_km", "km", "what the finite burn adds to the miss"),
        real("mass_wet_kg", "kg", "mass at release"),
        real("mass_after_burn_kg", "kg", "mass after the main burn"),
        real("two_body_target_km", "km", "how far off a two-body target would be"),
        whole("corrections", "trajectory correction manoeuvres"),
        whole("iterations", "Newton steps"),
        *(
            real(f"delivery_cov_{part}_km2", "km^2", f"B-plane covariance, {part.upper()}")
            for part in ("tt", "rr", "tr")
        ),
        real("full_sigma_km", "km", "larger sigma of the samples flown under all forces"),
        real("full_dv99_m_s", "m/s", "99th percentile of their corrections"),
        real("full_success", "-", "share of them that can pay"),
    ),
)
SAFETY = Table(
    "safety",
    "refine",
    "something released and what it might meet or hit",
    (
        text("kind", "what is looked at"),
        text("object", "what is released"),
        whole("probe", "place in the plan"),
        text("other", "what it might meet"),
        whole("hits", "samples that hit"),
        whole("samples", "samples flown"),
        real("chance_low", "-", "lower end of the 95 % interval"),
        real("chance_high", "-", "upper end"),
        real("years", "yr", "how long it was followed"),
        real("least_km", "km", "nearest approach"),
    ),
    form=CSV,
)
_PLAN = whole("plan", "number of the plan in `front`")
_PROBE = whole("probe", "place in the plan, from 0")
_OPPORTUNITY = whole("opportunity", "number of the opportunity")


def _state(stem: str, says: str) -> tuple[Column, ...]:
    """Six columns of a heliocentric state."""
    place, velocity = (
        vector(f"{stem}{v}", unit, says, suffix=end)
        for v, unit, end in (("", "km", "_km"), ("v", "km/s", "_km_s"))
    )
    return (*place, *velocity)


def _covariance() -> tuple[Column, ...]:
    """The lower triangle of a state's covariance."""
    parts = ("x", "y", "z", "vx", "vy", "vz")
    units = ("km2", "km2_s", "km2_s2")
    return tuple(
        real(
            f"cov_{parts[i]}_{parts[j]}_{units[(i > 2) + (j > 2)]}",
            units[(i > 2) + (j > 2)].replace("_", "/"),
            "covariance",
        )
        for i in range(6)
        for j in range(i + 1)
    )


# What refinement computed, exactly: the hand-off refines nothing again.
STORED = (
    Table(
        "flown",
        "refine",
        "a refined probe: states, burn, masses, figures of its delivery",
        (
            _PLAN,
            _PROBE,
            _OPPORTUNITY,
            *vector("spring_", "km/s", "velocity the spring gives the probe", suffix="_km_s"),
            *_state("released_", "just after the spring, at the release"),
            *_state("before_burn_", "just before the burn, at its date"),
            *vector("burn_", "km/s", "the refined burn as an impulse", suffix="_km_s"),
            *_state("arrival_", "the probe at its closest approach"),
            *_state("target_", "the target at that date"),
            real("b_t_km", "km", "place reached along T"),
            real("b_r_km", "km", "place reached along R"),
            real(
                "beta_before_km3_s2", "km3/s2", "what solar pressure takes off the Sun's GM, before the burn"
            ),
            real("beta_after_km3_s2", "km3/s2", "the same after it"),
            real("mass_wet_kg", "kg", "mass before the burn"),
            real("mass_after_burn_kg", "kg", "mass after it"),
            real("encounter_tdb_s", "s", "closest approach, TDB seconds past J2000"),
            real("burn_s", "s", "duration of the burn at constant thrust"),
            real("lead_s", "s", "from ignition to the impulse that stands for it"),
            real("finite_miss_km", "km", "what the finite burn adds to the miss"),
            real("delivery_sigma_km", "km", "larger principal sigma, by the transition matrix"),
            real("dv99_m_s", "m/s", "99th percentile of the corrections, by the transition matrix"),
            real(
                "success",
                "-",
                "share of samples that can pay their corrections, and see the target where needed",
            ),
            whole("iterations", "Newton steps until the aim point was hit"),
            flag("relies_on_sight", "whether corrections in sight of the target are planned"),
        ),
    ),
    Table(
        "flown_corrections",
        "refine",
        "a trajectory correction manoeuvre of a refined probe",
        (
            _PLAN,
            _PROBE,
            whole("correction", "from 0, in order"),
            text("kind", "after-burn, before-encounter or in-sight"),
            real("tdb_s", "s", "when, TDB seconds past J2000"),
        ),
    ),
    Table(
        "state_covariances",
        "refine",
        "a refined probe's state after the release, after the burn, or at the encounter",
        (_PLAN, _PROBE, text("state", "release, burn or encounter"), *_covariance()),
    ),
    Table(
        "trajectories",
        "refine",
        "a node of a refined probe's path, or of its target's, heliocentric",
        (
            _PLAN,
            text("body", "probe or target"),
            whole("number", "number of the probe in the plan, or row of the target in `targets`"),
            whole("piece", "0 before the burn, 1 after it; 0 for targets"),
            real("tdb_s", "s", "date of the node, TDB seconds past J2000, whole microseconds"),
            *_state("", "state at the node"),
        ),
    ),
    Table(
        "not_refined",
        "refine",
        "a probe that was left out, with the reason",
        (
            _PLAN,
            _PROBE,
            _OPPORTUNITY,
            text("target", "designation"),
            text("step", "refine (no arc was found) or path (the arc cannot be followed to its end)"),
            text("reason", "why"),
        ),
    ),
)
FLOWN_ORBITS = Table(
    "flown_orbits",
    "refine",
    "an orbit of the plan, reached and flown in the full field, beside what was judged; only where there are any",
    (
        _PLAN,
        _PROBE,
        _OPPORTUNITY,
        text("target", "planet or moon"),
        text("capture", "how it gets there: impulsive, spiral"),
        whole("burns", "burns of the insertion; 0 of a spiral"),
        real("insertion_m_s", "m/s", "their speed, of finite length, that ends at the apoapsis wanted"),
        real("judged_insertion_m_s", "m/s", "impulses and the loss of finite burns, as judged"),
        real("burn_s", "s", "the longest of them"),
        real("spiral_m_s", "m/s", "of a spiral from where its path begins", gaps=True),
        real("judged_spiral_m_s", "m/s", "the same by its law, without the excess speed", gaps=True),
        real("spiral_days", "d", "of that path", gaps=True),
        real("spiral_from_km", "km", "distance from the centre where it begins", gaps=True),
        real(
            "spiral_spare_days", "d", "from arrival to there, without those for the excess speed", gaps=True
        ),
        real("begin_tdb_s", "s", "begin of the science, seconds past J2000 TDB"),
        real("periapsis_km", "km", "height over the equatorial radius of the periapsis reached, osculating"),
        real("judged_periapsis_km", "km", "the one judged"),
        real("apoapsis_km", "km", "of the apoapsis reached"),
        real("judged_apoapsis_km", "km", "the one judged"),
        real(
            "days",
            "d",
            "followed from there, until the first upkeep is due, the science ends or the ground is met",
        ),
        real("least_km", "km", "least height of a periapsis in these days", gaps=True),
        real("judged_least_km", "km", "the same by averaged motion"),
        flag("hit", "whether it meets the ground in these days"),
    ),
    beside="refined",
)
DISPERSED_PASSES = Table(
    "dispersed_passes",
    "refine",
    "a low pass of the plan, dispersed in the field about its planet, beside what was judged by matrices",
    (
        _PLAN,
        _PROBE,
        _OPPORTUNITY,
        text("target", "planet or moon"),
        whole("samples", "samples flown"),
        real("affordable", "-", "share of the samples that can pay their corrections"),
        real("dv99_m_s", "m/s", "99th percentile of the corrections' sum"),
        real("judged_dv99_m_s", "m/s", "the same as judged"),
        real("sigma_major_km", "km", "larger sigma of the arrival about the aim point, corrections flown"),
        real("sigma_minor_km", "km", "smaller sigma"),
        real("judged_sigma_major_km", "km", "larger sigma as judged"),
        real("judged_sigma_minor_km", "km", "smaller sigma as judged"),
        real("dead_sigma_km", "km", "larger sigma of a probe that flies no correction"),
        real("judged_dead_sigma_km", "km", "the same as judged"),
        real("height_low_km", "km", "height over the equatorial radius that 1 % stay below", gaps=True),
        real("height_median_km", "km", "height that half stay below", gaps=True),
        real("height_high_km", "km", "height that 99 % stay below", gaps=True),
        real("sigma_height_km", "km", "1 sigma of the height", gaps=True),
        real("judged_sigma_height_km", "km", "the same as judged"),
        whole("hits", "samples with corrections that hit"),
        real("hit_chance_low", "-", "lower end of their 95 % interval"),
        real("hit_chance_high", "-", "upper end"),
        real(
            "impact_chance", "-", "chance that the probe, working or dead, hits, by the spread that was flown"
        ),
        real("judged_impact_chance", "-", "the same as judged"),
    ),
    beside="refined",
)
BOUND_AFTER = Table(
    "bound_after",
    "refine",
    "a low pass of a moon: what becomes of the probe when it has passed; disposal is not planned here",
    (
        _PLAN,
        _PROBE,
        _OPPORTUNITY,
        text("target", "moon that was passed"),
        whole("samples", "samples followed"),
        whole("bound", "samples that stay bound to the planet"),
        real("years", "yr", "how long these are followed"),
        whole("hits", "samples that hit the moon within that time"),
        whole("elsewhere", "samples that hit the planet or another moon"),
        whole("gone", "samples that leave the planet"),
        real("hit_chance_low", "-", "lower end of the 95 % interval of the chance to hit the moon"),
        real("hit_chance_high", "-", "upper end"),
        real("rate_low_per_year", "1/yr", "least of the rates (Opik 1951) of those still there", gaps=True),
        real("rate_per_year", "1/yr", "mean rate at which they hit the moon from then on", gaps=True),
        real("rate_high_per_year", "1/yr", "largest of the rates", gaps=True),
    ),
    beside="refined",
)
TABLES = (
    REFINED,
    SAFETY,
    DISPERSED_PASSES,
    FLOWN_ORBITS,
    BOUND_AFTER,
    *STORED,
    Table(
        "handoff",
        "handoff",
        "the package: messages, ephemerides and tables for other people's tools",
        form=OTHER,
    ),
    Table("report.html", "report", "one page to open in a browser, without a network", form=OTHER),
    Table("figures", "report", "every figure of the page for slides, with the numbers behind it", form=OTHER),
)
