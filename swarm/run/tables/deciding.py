"""Tables of what is decided with a front: probe counts, budgets, recourse, sensitivities, the risk table."""

from __future__ import annotations

from swarm.run.tables.declaration import Table, flag, real, text, whole
from swarm.run.tables.planning import LEVELS, LOADED, MEASURES, OF_DESIGN

_PLAN = whole("plan", "number of the plan in `front`")
_PROBE = whole("probe", "place in the plan, from 0")
_OPPORTUNITY = whole("opportunity", "number of the opportunity")
_TARGET = text("target", "designation")

COUNT_TABLES = (
    Table(
        "counts",
        "compare",
        "a probe count, with the plan the rule selects",
        (
            whole("probes", "probes carried"),
            *MEASURES,
            real("swarm_mass_kg", "kg", "probes and dispensers carried, without margins"),
            real("swarm_mass_with_margins_kg", "kg", "the same with margins"),
            LOADED,
            whole("probes_flown", "probes that the selected plan flies"),
            *LEVELS,
            real("tracking_hours", "h", "hours of tracking of the selected plan"),
            flag("rule_met", "whether a plan meets the rule's own condition"),
            whole("plans", "plans of the front"),
            real("hypervolume", "-", "mean over the seeds, one reference point for all counts"),
            real("hypervolume_sd", "-", "its spread over the seeds; none of one", gaps=True),
            real("science_best", "-", "most science of any plan"),
            real(
                "one_more_science", "-", "what one probe more adds to that at least: found by a short search"
            ),
            real(
                "next_probe_science",
                "-",
                "mean science that each probe adds since the count before, at best",
                gaps=True,
            ),
            real("next_probe_science_sd", "-", "its standard deviation over the seeds", gaps=True),
        ),
    ),
    Table(
        "count_fronts",
        "compare",
        "a plan of the front of a probe count",
        (
            whole("count", "probes carried"),
            whole("plan", "number of the plan in that front"),
            whole("probes", "probes it flies"),
            *MEASURES,
            LOADED,
            OF_DESIGN,
        ),
    ),
    Table(
        "count_plans",
        "compare",
        "a probe of the plan selected for a count",
        (
            whole("count", "probes carried"),
            _PROBE,
            _OPPORTUNITY,
            real("propellant_kg", "kg", "of this probe"),
        ),
    ),
    Table(
        "descope",
        "compare",
        "a probe to leave out, in order, from the selected plan of the largest count",
        (
            whole("step", "from 0"),
            _PROBE,
            _OPPORTUNITY,
            whole("probes_left", "probes that still fly"),
            *MEASURES,
        ),
    ),
    Table(
        "mass_budget",
        "compare",
        "an item of the mass of what is released, for the chosen plan",
        (
            text("item", "what"),
            real("best_kg", "kg", "best estimate"),
            real("contingency_kg", "kg", "for maturity"),
            real("expected_kg", "kg", "sum of the two"),
            real("margin_kg", "kg", "system margin"),
            real("maximum_kg", "kg", "at most"),
            real("margin_of_expected", "-", "margin as a share of the expected mass"),
            real("margin_of_maximum", "-", "margin as a share of the maximum"),
        ),
    ),
    Table(
        "delta_v_budget",
        "compare",
        "a probe of the chosen plan",
        (
            _PROBE,
            _OPPORTUNITY,
            real("deterministic_m_s", "m/s", "main burn"),
            real("statistical_m_s", "m/s", "dV99 of the corrections"),
            real("attitude_m_s", "m/s", "attitude control"),
            real("best_m_s", "m/s", "best estimate: the sum"),
            real("contingency_m_s", "m/s", "margins of the study"),
            real("expected_m_s", "m/s", "sum of the two"),
            real("carried_m_s", "m/s", "what the full tank gives"),
            real("margin_m_s", "m/s", "what is left"),
        ),
    ),
    Table(
        "power_budget",
        "compare",
        "a probe of the chosen plan at its encounter, in the long run",
        (
            _PROBE,
            _OPPORTUNITY,
            real("sun_range_au", "au", "distance from the Sun"),
            real("panel_w", "W", "what panels give there"),
            real("idle_w", "W", "what is always drawn"),
            real("radio_w", "W", "what is left for the radio, averaged over a day"),
            real("transmit_hours_per_day", "h", "how long it transmits a day, contact allowing"),
        ),
    ),
    Table(
        "recoil",
        "compare",
        "a release of the chosen plan, force-free, momentum kept",
        (
            _PROBE,
            _OPPORTUNITY,
            real("release_jd_tdb", "JD TDB", "release"),
            real("mothership_before_kg", "kg", "mass before"),
            real("mothership_after_kg", "kg", "mass after"),
            *(
                real(f"{what}_{axis}_m_s", "m/s", f"velocity change of the {whose}, {axis}")
                for axis in "xyz"
                for what, whose in (("recoil", "mothership"), ("probe_change", "probe"))
            ),
        ),
    ),
    Table(
        "recourse",
        "compare",
        "a probe of the chosen plan: until when it can be sent elsewhere, and what a dead check-out costs",
        (
            _PLAN,
            _PROBE,
            _TARGET,
            _OPPORTUNITY,
            real("burn_by_jd_tdb", "JD TDB", "last date to decide on its planned encounter: that burn"),
            real("decide_by_jd_tdb", "JD TDB", "last date at which any use is left for it"),
            whole("alternates", "other opportunities that keep every rule beside the others"),
            real("science", "-", "of the whole plan"),
            real("science_without", "-", "expected given that this probe is dead"),
            real("science_reassigned", "-", "the most that new targets for those still aboard make of it"),
        ),
    ),
    Table(
        "alternates",
        "compare",
        "one of a probe's ten best alternates",
        (
            _PLAN,
            _PROBE,
            whole("rank", "from 0, the best"),
            _TARGET,
            _OPPORTUNITY,
            real("release_jd_tdb", "JD TDB", "release"),
            real("encounter_jd_tdb", "JD TDB", "encounter"),
            real("burn_m_s", "m/s", "main impulse"),
            real("propellant_kg", "kg", "of this probe"),
            real("science", "-", "of the plan with it"),
        ),
    ),
)

SENSITIVITY_TABLES = (
    Table(
        "sensitivity",
        "sensitivity",
        "a change of one assumption: the chosen plan kept, and planned again",
        (
            text("factor", "assumption"),
            text("side", "low or high"),
            text("setting", "its value"),
            *MEASURES,
            real("science_held", "-", "science of the chosen plan, kept"),
            real("risk_held", "-", "risk of the chosen plan, kept"),
            real("science_change", "-", "planned again, against the same search with nothing changed"),
            real("risk_change", "-", "likewise"),
            real("targets_retained", "-", "share of the chosen plan's targets that are visited again"),
            real("rank_correlation", "-", "of the opportunities' worth before and after", gaps=True),
        ),
    ),
    Table(
        "left_out",
        "sensitivity",
        "a target of the chosen plan left out",
        (
            _TARGET,
            real("science_held", "-", "of the plan without it"),
            real("science_replanned", "-", "planned again"),
            real("science_change", "-", "against the same search with nothing left out"),
        ),
    ),
    Table(
        "risk_table",
        "sensitivity",
        "a risk of the chosen plan",
        (
            text("item", "what may happen"),
            text("cause", "why"),
            real("likelihood", "-", "how likely"),
            real("consequence", "-", "share of the science lost"),
            whole("likelihood_bin", "1 to 5"),
            whole("consequence_bin", "1 to 5"),
            text("source", "where the likelihood is from"),
        ),
    ),
)
