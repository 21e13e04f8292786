"""Tables of a plan flown under all forces, of what it may meet, and the files handed over."""

from __future__ import annotations

from swarm.run.tables.schema import CSV, OTHER, Table, real, text, vector, whole

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
TABLES = (
    REFINED,
    SAFETY,
    Table(
        "handoff",
        "handoff",
        "the package: messages, ephemerides and tables for other people's tools",
        form=OTHER,
    ),
    Table("report.html", "report", "one page to open in a browser, without a network", form=OTHER),
    Table("figures", "report", "every figure of the page for slides, with the numbers behind it", form=OTHER),
)
