"""Tables of the search: the front beside its bound, the plans, and what the page draws of them."""

from __future__ import annotations

import pyarrow as pa

from swarm.run.tables.declaration import CSV, Table, flag, real, text, vector, whole
from swarm.run.tables.screening import CORRECTION_COLUMNS, JUDGED_COLUMNS, OPPORTUNITY_COLUMNS

_PLAN = whole("plan", "number of the plan in `front`")
_PROBE = whole("probe", "place in the plan, from 0")
_OPPORTUNITY = whole("opportunity", "number of the opportunity")

MEASURES = (
    real("science", "-", "expected share of the baselines, weighted"),
    real("propellant_kg", "kg", "sum over the probes, corrections and margins included"),
    real("risk", "-", "chance that any threshold is missed"),
)
LOADED = real("loaded_kg", "kg", "propellant of as many full probes, each of its design")
OF_DESIGN = whole(
    "probes_of_*", "probes of the design of that name; only where the study has [[designs]]", optional=True
)
# Where the mothership was chosen, too (`swarm carriers`): fronts of several joined.
CARRIER = whole("carrier", "mothership, a row of `carriers`; only where several are joined", optional=True)
_JOINED = (
    CARRIER,
    whole("plan_of_carrier", "number of the plan in that mothership's own front", optional=True),
    real(
        "carrier_propellant_kg", "kg",
        "what its own burns take: to be where it is (several joined), to steer for its probes (study of passes)",
        optional=True,
    ),
    real(
        "impact_chance", "-",
        "sum of the chances that a probe, or the mothership if it counts, hits a planet or moon; only with passes",
        optional=True,
    ),
)  # fmt: skip
LEVELS = (
    real("p_threshold", "-", "chance that every threshold is met"),
    real("p_baseline", "-", "chance that every baseline is met"),
    real("p_none", "-", "chance that nothing comes back"),
    real("cvar10_science", "-", "mean science of the worst tenth"),
    flag("measures_exact", "whether the three above are exact; else they are bounds"),
)

_OBSERVE = (
    text("target", "designation"),
    text("name", "name, empty where it has none"),
    whole("plans", "plans of the front that visit it"),
    real("first_release_jd_tdb", "JD TDB", "first release to it"),
    whole("u_code", "uncertainty parameter", type=pa.int8()),
    text("class", "taxonomic class, empty where unknown"),
    real("days_seen", "d", "days it can be seen from the Earth before that release"),
    real("first_seen_jd_tdb", "JD TDB", "first of them", gaps=True),
    real("last_seen_jd_tdb", "JD TDB", "last of them", gaps=True),
    real("brightest_jd_tdb", "JD TDB", "when it is brightest", gaps=True),
    real("brightest_mag", "mag", "how bright", gaps=True),
    real("brightest_elongation_deg", "deg", "how far from the Sun then", gaps=True),
    real("sigma_km", "km", "1 sigma of its place at the encounter"),
    real("sigma_improved_km", "km", "the same after observing"),
    real("success", "-", "chance of data with its orbit as known"),
    real("success_improved", "-", "the same after observing"),
    real("science_gained_orbit", "-", "science that a better orbit adds"),
    real("science_gained_class", "-", "science that knowing its class adds"),
)

TABLES = (
    Table(
        "polished",
        "optimize",
        "an opportunity with a release between two slots, found by the search for targets of its front",
        OPPORTUNITY_COLUMNS,
        extends="opportunities",
    ),
    Table(
        "polished_judged",
        "optimize",
        "what a polished opportunity comes to",
        JUDGED_COLUMNS,
        extends="judged",
    ),
    Table(
        "polished_corrections",
        "optimize",
        "a trajectory correction manoeuvre of a polished opportunity",
        CORRECTION_COLUMNS,
        extends="corrections",
    ),
    Table(
        "front",
        "optimize",
        "a plan of which no other is better in science, propellant and risk at once",
        (
            whole("plan", "number of the plan, from 0"),
            whole("probes", "probes it flies"),
            *MEASURES,
            LOADED,
            OF_DESIGN,
            *LEVELS,
            *_JOINED,
            real("science_assumed", "-", "science that rests on assumed attributes"),
            real("science_assumed_*", "-", "the part that rests on that attribute"),
        ),
    ),
    Table(
        "plans",
        "optimize",
        "a probe of a plan",
        (
            _PLAN,
            _PROBE,
            _OPPORTUNITY,
            real("success", "-", "chance of any data, shared failures included"),
            real("propellant_kg", "kg", "of this probe"),
            CARRIER,
        ),
    ),
    Table(
        "bound",
        "optimize",
        "a propellant level: the most science any plan may have, and the best plan's",
        (
            whole("probes", "probes carried"),
            real("propellant_kg", "kg", "level"),
            real("science_upper", "-", "upper bound over the table it was computed on"),
            real("science_best", "-", "science of the best plan within the level"),
        ),
    ),
    Table(
        "convergence",
        "optimize",
        "an epoch of a search",
        (
            whole("search", "number of the search"),
            whole("epoch", "number of the epoch"),
            whole("evaluations", "plans evaluated so far"),
            real("hypervolume", "-", "of the plans kept"),
            whole("archived", "plans kept"),
        ),
    ),
    Table(
        "rests_on",
        "optimize",
        "a default that the study leaves as it is, moved within its range: science of the chosen plan as it is",
        (
            text("key", "section and key of the study"),
            real("value", "as `unit` says", "the default"),
            text("unit", "of the value and its range"),
            real("low", "as `unit` says", "lower end of the range"),
            real("high", "as `unit` says", "upper end of the range"),
            text("source", "of the range"),
            real("science", "-", "as the study says"),
            real("science_low", "-", "with the lower end"),
            real("science_high", "-", "with the upper end"),
            real("change", "-", "the larger of both changes"),
            flag("decisive", "whether it is more than 0.02"),
        ),
    ),
    Table("observe", "optimize", "a target of the front: when it can be seen, what observing adds", _OBSERVE),
    Table("observe", "optimize", "the same, for people", _OBSERVE, form=CSV),
    Table(
        "arcs",
        "optimize",
        "a point of an arc that some plan of the front flies, heliocentric",
        (_OPPORTUNITY, real("t_jd_tdb", "JD TDB", "epoch"), *vector("", "km", "position", suffix="_km")),
    ),
    Table(
        "planets",
        "optimize",
        "a place of a planet near which the mothership flies, heliocentric",
        (
            text("planet", "its name"),
            real("t_jd_tdb", "JD TDB", "epoch"),
            *vector("", "km", "position", suffix="_km"),
        ),
    ),
    Table(
        "events",
        "optimize",
        "a date of such an arc",
        (_OPPORTUNITY, text("event", "what happens"), real("t_jd_tdb", "JD TDB", "when")),
    ),
    Table(
        "aims",
        "optimize",
        "the B-plane of such an encounter",
        (
            _OPPORTUNITY,
            real("keepout_km", "km", "nothing is aimed nearer"),
            real("slew_km", "km", "nearer the probe cannot turn fast enough"),
            real("sigma_larger_km", "km", "larger principal sigma of the delivery"),
            real("sigma_smaller_km", "km", "smaller principal sigma"),
            real("sigma_angle_deg", "deg", "direction of the larger one, from T to R"),
        ),
    ),
    Table(
        "images",
        "optimize",
        "the images of such an encounter with a body that is seen whole",
        (
            _OPPORTUNITY,
            real("diameter_km", "km", "diameter as judged: as given, or from H and albedo"),
            real("pixels_across", "px", "diameter in pixels, of the images that come home", gaps=True),
            real("images_expected", "-", "kept images, times the chance that they show it and come home"),
        ),
        beside="aims",
    ),
    Table(
        "pass_paths",
        "optimize",
        "a point of a path near a planet or moon that is passed; x towards the Sun in the equator, z the pole; only "
        "where some plan of the front passes one",
        (
            _OPPORTUNITY,
            text("about", "planet or moon at 0, 0, 0, whose equator and pole the axes are"),
            text("what", "probe, mothership, or the moon that is passed"),
            real("tdb_s", "s", "epoch, seconds past J2000 TDB"),
            *(real(f"{axis}_km", "km", f"place, {axis}") for axis in "xyz"),
        ),
        beside="aims",
    ),
    Table(
        "ground_tracks",
        "optimize",
        "a place on the ground of such a planet or moon",
        (
            _OPPORTUNITY,
            text(
                "what",
                "track: below the probe; terminator: the Sun on the horizon at the pass; sun: overhead",
            ),
            real("tdb_s", "s", "epoch, seconds past J2000 TDB"),
            real("latitude_deg", "deg", "planetographic latitude"),
            real("longitude_e_deg", "deg", "longitude, east, 0 to 360"),
            real("altitude_km", "km", "height of the probe over the ellipsoid", gaps=True),
        ),
        beside="aims",
    ),
    Table(
        "pass_trade",
        "optimize",
        "such a pass flown at another height, with the errors it has",
        (
            _OPPORTUNITY,
            real("altitude_km", "km", "height of the aim over the equatorial radius"),
            real("expected_quality", "-", "mean quality over the delivery"),
            real(
                "shown_chance", "-", "chance that it is flown and does not hit, given that the hardware works"
            ),
            real("impact_chance", "-", "chance that the probe, working or dead, hits"),
        ),
        beside="aims",
    ),
    Table(
        "serves",
        "optimize",
        "a row of the science that such an encounter may count for",
        (
            _OPPORTUNITY,
            text("science_row", "name of the row"),
            real("counts_chance", "-", "chance that it counts: hardware, class, quality and data together"),
        ),
    ),
    Table(
        "successes",
        "optimize",
        "a plan and a number of probes",
        (
            _PLAN,
            whole("returned", "probes that return data"),
            real("chance", "-", "chance of just so many"),
            real("chance_or_more", "-", "chance of so many or more"),
        ),
    ),
)
