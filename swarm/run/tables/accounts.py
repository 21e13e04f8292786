"""Tables of a team's spreadsheet: launch mass, cost, stations, releases, categories, what the plan comes to."""

from __future__ import annotations

from swarm.run.tables.declaration import Table, flag, real, text, whole

_STAGE = "account"
_PROBE = whole("probe", "place in the plan, from 0")
_OPPORTUNITY = whole("opportunity", "number of the opportunity")

ACCOUNT_TABLES = (
    Table(
        "outcomes",
        _STAGE,
        "a share of what the chosen plan may come to, survival, delivery and unknown classes at once",
        (
            real("share", "-", "share of the outcomes that bring no more science than the next column"),
            real("science", "-", "science of the outcome at that share"),
            real("mean", "-", "mean of all outcomes: the plan's science"),
            flag("exact", "whether every outcome was added up; else they were drawn"),
        ),
    ),
    Table(
        "launch_mass",
        _STAGE,
        "an item of what is launched; then their total, what is lifted, and what is left; only with [launch]",
        (
            text("item", "what"),
            real("best_kg", "kg", "best estimate"),
            real("contingency_kg", "kg", "for maturity"),
            real("expected_kg", "kg", "sum of the two"),
            real("margin_kg", "kg", "system margin"),
            real("maximum_kg", "kg", "at most"),
        ),
    ),
    Table(
        "costs",
        _STAGE,
        "the chosen plan, or the plan of a probe count, in the study's own numbers; only with [cost]",
        (
            text("what", "which"),
            text("unit", "of every cost"),
            whole("carried", "probes carried"),
            real("fixed", "cost.unit", "as given"),
            real("probes", "cost.unit", "all that are carried, as learning makes them"),
            real("mass", "cost.unit", "of what is released, with margins"),
            real("tracking", "cost.unit", "hours of tracking"),
            real("total", "cost.unit", "sum of the four"),
            real("science", "-", "of the plan"),
            real(
                "per_science", "cost.unit", "total by science: of all that is asked, at this price", gaps=True
            ),
        ),
    ),
    Table(
        "station_load",
        _STAGE,
        "a span in which probes of the chosen plan are about their encounters together, or stations do not suffice",
        (
            real("from_jd_tdb", "JD TDB", "begin"),
            real("until_jd_tdb", "JD TDB", "end"),
            whole("encounters", "probes about their encounters"),
            whole("cruising", "probes that cruise"),
            real("asked_h_d", "h/d", "hours a day that they ask for"),
            real("there_h_d", "h/d", "hours a day that the antennas give"),
            real("short_h_d", "h/d", "what is lacking"),
        ),
    ),
    Table(
        "release_attitudes",
        _STAGE,
        "a release of the chosen plan, in order",
        (
            _PROBE,
            _OPPORTUNITY,
            real("release_jd_tdb", "JD TDB", "release"),
            whole("place", "place of the dispenser, from 1 round its ring"),
            real("off_axis", "-", "centre of what is left aboard from the ring's axis, 1 its radius"),
            real("right_ascension_deg", "deg", "axis along which the probe leaves, ICRF"),
            real("declination_deg", "deg", "likewise"),
            real("sun_angle_deg", "deg", "that axis against the Sun", gaps=True),
            real("earth_angle_deg", "deg", "that axis against the Earth", gaps=True),
            real("turn_deg", "deg", "from the axis of the release before", gaps=True),
        ),
    ),
    Table(
        "protection_checklist",
        _STAGE,
        "a body met by a probe of the chosen plan, or a planet on the mothership's path",
        (
            text("body", "which"),
            text("encounter", "kind of encounter, or mothership"),
            text("category", "that COSPAR's policy suggests; the responsible authority decides"),
            text("because", "why"),
            text("asks", "what is to be filed"),
            text("source", "where that is from"),
        ),
    ),
)
