"""The sections of the page in order: headings, places for figures, tables of the archive."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from markupsafe import Markup

from swarm.report.answer import answer
from swarm.report.figures_of_runs import risk_cells
from swarm.report.markup import (
    Column,
    archive_table,
    beside,
    folded,
    listing,
    paragraph,
    part,
    place,
    plain_table,
)
from swarm.report.page_tables import PageTables
from swarm.run.tables import parquet_tables
from swarm.study.schema import study_rows
from targets.base.timescale import iso_tdb

CAUTIONS = (
    "Concept-study figures: good for comparing plans, not for flying one. Not for operations.",
    "Planetary protection, launch safety, radio licensing and recontact safety rest with the responsible "
    "authorities and licensed practice.",
    "Encounters and burns on this page are the undisturbed ones: errors of delivery and corrections are in the "
    "chances and the propellant.",
    "Values marked as from memory in the table of assumptions are starting values, to be checked before they "
    "are quoted.",
)


@dataclass(frozen=True)
class Section:
    """A section: its anchor, heading, and what stands in it; `make` returns "" where the run has nothing for it."""

    anchor: str
    title: str
    make: Callable[[PageTables], Markup]


@dataclass(frozen=True)
class Made:
    """A section as it stands on the page."""

    anchor: str
    title: str
    html: Markup


NOTHING = Markup("")


def _controls(name: str) -> Markup:
    return part(name, template="controls.html")


def _front(tables: PageTables) -> Markup:
    lines = folded("The front in lines", listing(tables.summary["front"]))
    return _controls("plan") + beside(place("front"), place("front_risk")) + lines


def _where(tables: PageTables) -> Markup:
    lacking = "This run folder holds no arcs; releases and encounters are drawn without them."
    said = NOTHING if tables.has("arcs") else paragraph(lacking)
    return said + _controls("date") + beside(place("map"), place("map_side"))


def _dates(tables: PageTables) -> Markup:
    return place("timeline") if tables.has("events") else NOTHING


def _encounters(tables: PageTables) -> Markup:
    return _controls("encounters")


def _probe(tables: PageTables) -> Markup:
    there = tables.has("aims") and tables.has("judged")
    aim = place("b_plane") if there else paragraph("This run folder holds no aims.")
    some = "Only part of the opportunities is drawn: there are too many." if _is_cut(tables) else ""
    return _controls("probe") + beside(aim, place("windows")) + paragraph(some, "note")


def _is_cut(tables: PageTables) -> bool:
    known = (
        set(tables["opportunities"]["target"].take(tables.used).to_pylist()) if len(tables.used) else set()
    )
    return sum(target in known for target in tables["opportunities"]["target"].to_pylist()) > len(
        tables.windows
    )


def _returned(tables: PageTables) -> Markup:
    return place("successes", alone=True) if tables.has("successes") else NOTHING


_COUNTS = (
    Column("probes", "probes", "0"), Column("science", "science", "3"), Column("risk", "risk", "3"),
    Column("propellant_kg", "propellant, kg", "2"), Column("swarm_mass_kg", "swarm, kg", "1"),
    Column("swarm_mass_with_margins_kg", "with margins, kg", "1"), Column("p_baseline", "P(every baseline)", "3"),
    Column("cvar10_science", "science, worst tenth", "3"), Column("tracking_hours", "tracking, h", "0"),
    Column("science_best", "most science", "3"), Column("one_more_science", "one more adds", "3"),
    Column("next_probe_science", "each since the count before", "4"),
    Column("next_probe_science_sd", "its spread, 1 sigma", "4"), Column("rule_met", "rule met", "yes"),
)  # fmt: skip
_DESCOPE = (
    Column("step", "step", "0"), Column("probe", "probe left out", "id"), Column("opportunity", "opportunity", "id"),
    Column("probes_left", "probes left", "0"), Column("science", "science", "3"), Column("risk", "risk", "3"),
    Column("propellant_kg", "propellant, kg", "2"),
)  # fmt: skip


def _counts(tables: PageTables) -> Markup:
    if not tables.has("counts"):
        return NOTHING
    made = beside(place("counts"), place("next_probe"))
    made += archive_table("counts", tables["counts"], _COUNTS, caption="Probe counts")
    if tables.has("descope"):
        caption = "Which probe to leave out first, from the largest count"
        order = archive_table("descope", tables["descope"], _DESCOPE, caption=caption)
        made += folded("Order of leaving probes out", order)
    return made


def _density(tables: PageTables) -> Markup:
    return place("density", alone=True) if tables.has("density") else NOTHING


def _proof(tables: PageTables) -> Markup:
    drawn = [place(name) for name in ("bound", "convergence") if tables.has(name)]
    return beside(*drawn) if drawn else NOTHING


_SENSITIVITY = (
    Column("factor", "factor"), Column("side", "side"), Column("setting", "setting"),
    Column("science", "science", "3"), Column("science_change", "change", "3"), Column("risk", "risk", "3"),
    Column("risk_change", "change", "3"), Column("propellant_kg", "propellant, kg", "2"),
    Column("science_held", "science, plan kept", "3"), Column("risk_held", "risk, plan kept", "3"),
    Column("targets_retained", "targets kept", "%0"), Column("rank_correlation", "rank correlation", "3"),
)  # fmt: skip
_LEFT_OUT = (
    Column("target", "target left out"), Column("science_held", "science, plan kept", "3"),
    Column("science_replanned", "science, made again", "3"), Column("science_change", "change", "3"),
)  # fmt: skip


_RESTS_ON = (
    Column("key", "default"), Column("value", "value", "4"), Column("unit", "unit"), Column("low", "from", "4"),
    Column("high", "to", "4"), Column("science_low", "science at the lower end", "3"),
    Column("science_high", "at the upper end", "3"), Column("change", "change", "3"),
    Column("decisive", "more than 0.02", "yes"), Column("source", "source of the range"),
)  # fmt: skip


def _change(tables: PageTables) -> Markup:
    said = NOTHING
    if tables.has("sensitivity"):
        said += place("tornado", alone=True) + archive_table(
            "sensitivity", tables["sensitivity"], _SENSITIVITY, caption="One setting changed at a time"
        )
    if tables.has("left_out"):
        said += archive_table(
            "left_out", tables["left_out"], _LEFT_OUT, caption="One target left out at a time"
        )
    if tables.has("rests_on"):
        caption = "Defaults that the study leaves, moved within their ranges: the plan as it is, judged again"
        moved = archive_table("rests_on", tables["rests_on"], _RESTS_ON, caption=caption)
        said += folded("What the plan rests on: every default, moved within its range", moved)
    return said


_RISK = (
    Column("item", "item"), Column("cause", "cause"), Column("likelihood", "likelihood", "3"),
    Column("consequence", "science lost (share)", "3"), Column("likelihood_bin", "likelihood bin", "0"),
    Column("consequence_bin", "consequence bin", "0"), Column("source", "source"),
)  # fmt: skip


def _risk(tables: PageTables) -> Markup:
    if not tables.has("risk_table"):
        return NOTHING
    cells = risk_cells(tables)
    rows = [
        [str(y + 1), *(", ".join(str(n + 1) for n in cells[x, y]) for x in range(5))]
        for y in reversed(range(5))
    ]
    grid = plain_table(
        ("likelihood / consequence", *"12345"), rows, caption="Rows of the risk table by their bins"
    )
    table = archive_table("risk_table", tables["risk_table"], _RISK, caption="Risks")
    return place("risk", alone=True) + table + folded("The grid as a table", grid)


_MASS = (
    Column("item", "item"), Column("best_kg", "best estimate, kg", "2"),
    Column("contingency_kg", "contingency, kg", "2"),
    Column("expected_kg", "expected, kg", "2"), Column("margin_kg", "margin, kg", "2"),
    Column("maximum_kg", "at most, kg", "2"), Column("margin_of_expected", "margin / expected", "%1"),
    Column("margin_of_maximum", "margin / at most", "%1"),
)  # fmt: skip
_DELTA_V = (
    Column("probe", "probe", "id"), Column("opportunity", "opportunity", "id"),
    Column("deterministic_m_s", "burn, m/s", "2"), Column("statistical_m_s", "corrections (99 %), m/s", "2"),
    Column("attitude_m_s", "attitude, m/s", "2"), Column("best_m_s", "best estimate, m/s", "2"),
    Column("contingency_m_s", "contingency, m/s", "2"), Column("expected_m_s", "expected, m/s", "2"),
    Column("carried_m_s", "carried, m/s", "2"), Column("margin_m_s", "margin, m/s", "2"),
)  # fmt: skip
_POWER = (
    Column("probe", "probe", "id"), Column("opportunity", "opportunity", "id"),
    Column("sun_range_au", "from the Sun, au", "2"), Column("panel_w", "panels, W", "1"),
    Column("idle_w", "idle load, W", "1"), Column("radio_w", "left for the radio, W", "1"),
    Column("transmit_hours_per_day", "transmitting, h a day", "1"),
)  # fmt: skip
_REFINED = (
    Column("probe", "probe", "id"), Column("target", "target"), Column("burn_m_s", "burn, m/s", "3"),
    Column("burn_change_m_s", "change, m/s", "3"), Column("aim_km", "aim, km", "1"), Column("miss_km", "miss, km", "3"),
    Column("delivery_sigma_km", "delivery, 1 sigma, km", "1"), Column("dv99_m_s", "corrections (99 %), m/s", "2"),
    Column("success", "delivered (chance)", "3"),
)  # fmt: skip


def _budgets(tables: PageTables) -> Markup:
    made = NOTHING
    for name, columns, caption in (
        ("mass_budget", _MASS, "Mass of the swarm"),
        ("delta_v_budget", _DELTA_V, "Delta-v of each probe"),
        ("power_budget", _POWER, "Power of each probe at its encounter, in the long run"),
        ("recoil", None, "Recoil of the mothership"),
    ):
        if tables.has(name):
            shown = columns or tuple(_declared(name, key) for key in tables[name].column_names)
            made += archive_table(name, tables[name], shown, caption=caption)
    if not made:
        return NOTHING
    return paragraph(f"Of plan {tables.plan}. Margins as the study's policy sets them.") + made


def _declared(table: str, key: str) -> Column:
    """A column shown under its own name with its declared unit: dates as days, numbers of things whole."""
    unit = next(column.unit for column in parquet_tables()[table].columns if column.covers(key))
    if unit == "JD TDB":
        return Column(key, f"{key.removesuffix('_jd_tdb').replace('_', ' ')} (TDB)", "date")
    form = "id" if key in ("probe", "plan", "opportunity", "step") else "4"
    stem = key.removesuffix(f"_{unit.replace('/', '_')}").replace("_", " ")
    return Column(key, stem if unit == "-" else f"{stem}, {unit}", form)


def _refined(tables: PageTables) -> Markup:
    if not tables.has("refined"):
        return NOTHING
    cautions = tables.run.manifest["notes"].get("refined", {}).get("cautions", [])
    table = archive_table("refined", tables["refined"], _REFINED, caption="Arcs under all forces")
    return table + listing(cautions)


_RECOURSE = (
    Column("probe", "probe", "id"), Column("target", "target"), Column("opportunity", "opportunity", "id"),
    Column("burn_by_jd_tdb", "its burn (TDB)", "date"),
    Column("decide_by_jd_tdb", "any use until (TDB)", "date"), Column("alternates", "other targets", "0"),
    Column("science", "science", "3"), Column("science_without", "without the probe", "3"),
    Column("science_reassigned", "others re-assigned", "3"),
)  # fmt: skip
_ALTERNATES = (
    Column("probe", "probe", "id"), Column("rank", "rank", "0"), Column("target", "target"),
    Column("opportunity", "opportunity", "id"), Column("release_jd_tdb", "release (TDB)", "date"),
    Column("encounter_jd_tdb", "encounter (TDB)", "date"), Column("burn_m_s", "burn, m/s", "1"),
    Column("propellant_kg", "propellant, kg", "3"), Column("science", "science with it", "3"),
)  # fmt: skip


def _recourse(tables: PageTables) -> Markup:
    if not tables.has("recourse"):
        return NOTHING
    caption = "If a probe is dead at its check-out"
    said = archive_table("recourse", tables["recourse"], _RECOURSE, caption=caption)
    if tables.has("alternates"):
        caption = "What a probe could visit instead"
        others = archive_table("alternates", tables["alternates"], _ALTERNATES, caption=caption)
        said += folded("Alternates of each probe", others)
    return said


_OBSERVE = (
    Column("target", "target"), Column("name", "name"), Column("plans", "in plans", "0"),
    Column("first_release_jd_tdb", "first release (TDB)", "date"), Column("u_code", "orbit uncertainty U", "0"),
    Column("class", "class"), Column("first_seen_jd_tdb", "seen from (TDB)", "date"),
    Column("last_seen_jd_tdb", "until (TDB)", "date"), Column("brightest_mag", "brightest, mag", "1"),
    Column("science_gained_orbit", "science from a better orbit", "4"),
    Column("science_gained_class", "science from colours", "4"),
)  # fmt: skip


def _observe(tables: PageTables) -> Markup:
    if not tables.has("observe"):
        return NOTHING
    return archive_table(
        "observe", tables["observe"], _OBSERVE, caption="Targets worth observing before release"
    )


def _assumptions(tables: PageTables) -> Markup:
    notes = tables.run.manifest["notes"]
    said = [
        *notes.get("catalogue", {}).get("rules", []),
        *notes.get("knowledge", []),
        *tables.run.manifest["warnings"],
    ]
    rows = study_rows(tables.run.study)
    table = plain_table(("key", "value", "unit", "source"), rows, caption="The study as understood")
    return listing(said) + table


def _provenance(tables: PageTables) -> Markup:
    manifest, study = tables.run.manifest, tables.run.study.study
    inputs = manifest["inputs"]
    rows = [
        ("made by", manifest["tool"]),
        ("version of the tables", manifest["schema"]),
        ("dated", iso_tdb(study.date_jd_tdb)),
        ("seed", manifest["seed"]),
        (
            "times and frames",
            "dates are TDB; vectors are heliocentric, ICRF axes; maps are turned to the ecliptic",
        ),
        *((f"input: {key} (SHA-256)", value or "none") for key, value in sorted(inputs.items())),
        *((f"library: {key}", value or "not there") for key, value in sorted(manifest["libraries"].items())),
        ("python, processor", f"{manifest['python']}, {manifest['processor']}"),
        ("the same bytes on a second run", "yes" if manifest["notes"].get("repeatable", True) else "no"),
        ("plans looked at again by the checker", manifest["notes"].get("verified_plans", "not known")),
    ]
    return plain_table(("what", "which"), rows, caption="Where this page comes from")


def _cautions(tables: PageTables) -> Markup:
    return listing(CAUTIONS)


SECTIONS: tuple[Section, ...] = (
    Section("answer", "The answer", answer),
    Section("plans", "Plans to choose from", _front),
    Section("where", "Where it happens", _where),
    Section("dates", "When it happens", _dates),
    Section("encounters-of", "Encounters", _encounters),
    Section("aim", "One probe", _probe),
    Section("returned", "How many return", _returned),
    Section("counts-of", "How many probes", _counts),
    Section("change", "What would change it", _change),
    Section("risks", "Risks", _risk),
    Section("budgets", "Budgets", _budgets),
    Section("recourse-of", "If a probe fails", _recourse),
    Section("refined-of", "In full force", _refined),
    Section("proof", "How good the search is", _proof),
    Section("reach", "Is the reach plausible", _density),
    Section("observe-of", "What astronomers could help with", _observe),
    Section("cautions", "Cautions", _cautions),
    Section("assumptions", "Assumptions and their sources", _assumptions),
    Section("provenance", "Provenance", _provenance),
)


def made_sections(tables: PageTables) -> tuple[list[Made], list[str]]:
    """The sections that the run has something for, and the titles of the others."""
    made = [Made(section.anchor, section.title, section.make(tables)) for section in SECTIONS]
    return [one for one in made if one.html], [one.title for one in made if not one.html]
