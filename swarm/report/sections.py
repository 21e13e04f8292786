"""The sections of the page in order: headings, places for figures, tables of the archive."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from swarm.decide.rests import rests_on_lines
from swarm.report.account_section import account_section, declared
from swarm.report.answer import answer
from swarm.report.entry_section import entry_section
from swarm.report.figures_of_runs import density_told, risk_cells, risk_order
from swarm.report.markup import (
    Shown,
    archive_table,
    beside,
    folded,
    listing,
    paragraph,
    part,
    place,
    plain_table,
    with_rows,
)
from swarm.report.orbit_section import orbit_section
from swarm.report.page_tables import PageTables
from swarm.report.pass_section import cautions_on_top, low_passes
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
class PageSection:
    """A section: its anchor, heading, and what stands in it; `make` returns "" where the run has nothing for it.

    question : what a reader asks who looks here; a section that answers none does not belong on the page
    may_lack : of what most studies do not ask for: nobody misses it where there is nothing of it
    """

    anchor: str
    title: str
    question: str
    make: Callable[[PageTables], Markup]
    may_lack: bool = False


@dataclass(frozen=True)
class SectionGroup:
    """Sections that answer one larger question; the links at the top of the page lead to groups."""

    anchor: str
    title: str
    sections: tuple[PageSection, ...]


@dataclass(frozen=True)
class Made:
    """A section, or a group with its sections, as it stands on the page."""

    anchor: str
    title: str
    html: Markup
    inner: tuple[Made, ...] = ()


NOTHING = Markup("")


def _controls(name: str) -> Markup:
    return part(name, template="controls.html")


def _rows(name: str, tables: PageTables, columns: Sequence[Shown], *, caption: str) -> Markup:
    """A table of the archive, folded on a narrow screen, where its rows are cards."""
    table = archive_table(name, tables[name], columns, caption=caption)
    return folded(with_rows(caption, tables[name]), table, narrow=True)


def _front(tables: PageTables) -> Markup:
    lines = folded("The front as text", listing(tables.summary["front"]))
    return _controls("plan") + beside(place("front"), place("front_risk")) + lines


def _where(tables: PageTables) -> Markup:
    lacking = "This run folder holds no arcs; releases and encounters are drawn without them."
    said = NOTHING if tables.has("arcs") else paragraph(lacking)
    apart = [place("apart")] if tables.has("arcs") else []
    return said + _controls("date") + beside(place("map"), *apart, place("map_side"))


def _dates(tables: PageTables) -> Markup:
    return place("timeline") if tables.has("events") else NOTHING


def _encounters(tables: PageTables) -> Markup:
    return _controls("encounters")


def _probe(tables: PageTables) -> Markup:
    there = tables.has("aims") and tables.has("judged")
    aim = (
        [place("b_plane"), place("b_plane_near")] if there else [paragraph("This run folder holds no aims.")]
    )
    some = "Only part of the opportunities is drawn: there are too many." if _is_cut(tables) else ""
    return _controls("probe") + beside(*aim, place("windows")) + paragraph(some, "note")


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
    Shown("probes", "probes", "0"), Shown("science", "science", "3"), Shown("risk", "risk", "3"),
    Shown("propellant_kg", "propellant, kg", "2"), Shown("swarm_mass_kg", "swarm, kg", "1"),
    Shown("swarm_mass_with_margins_kg", "with margins, kg", "1"), Shown("p_baseline", "P(every baseline)", "3"),
    Shown("cvar10_science", "science, worst tenth", "3"), Shown("tracking_hours", "tracking, h", "0"),
    Shown("science_best", "most science", "3"), Shown("one_more_science", "one more adds", "3"),
    Shown("next_probe_science", "each since the count before", "4"),
    Shown("next_probe_science_sd", "its spread, 1 sigma", "4"), Shown("rule_met", "rule met", "yes"),
)  # fmt: skip
_DESCOPE = (
    Shown("step", "step", "0"), Shown("probe", "probe left out", "id"), Shown("opportunity", "opportunity", "id"),
    Shown("probes_left", "probes left", "0"), Shown("science", "science", "3"), Shown("risk", "risk", "3"),
    Shown("propellant_kg", "propellant, kg", "2"),
)  # fmt: skip


def _counts(tables: PageTables) -> Markup:
    if not tables.has("counts"):
        return NOTHING
    made = beside(place("counts"), place("next_probe"))
    made += _rows("counts", tables, _COUNTS, caption="Probe counts")
    if tables.has("descope"):
        caption = "Which probe to leave out first, from the largest count"
        order = archive_table("descope", tables["descope"], _DESCOPE, caption=caption)
        made += folded("Order of leaving probes out", order)
    return made


def _density(tables: PageTables) -> Markup:
    return place("density", alone=True) if density_told(tables) else NOTHING


def _proof(tables: PageTables) -> Markup:
    drawn = [place(name) for name in ("bound", "convergence") if tables.has(name)]
    return beside(*drawn) if drawn else NOTHING


_SENSITIVITY = (
    Shown("factor", "factor"), Shown("side", "side"), Shown("setting", "setting"),
    Shown("science", "science", "3"), Shown("science_change", "change", "3"), Shown("risk", "risk", "3"),
    Shown("risk_change", "change", "3"), Shown("propellant_kg", "propellant, kg", "2"),
    Shown("science_held", "science, plan kept", "3"), Shown("risk_held", "risk, plan kept", "3"),
    Shown("targets_retained", "targets kept", "%0"), Shown("rank_correlation", "rank correlation", "3"),
)  # fmt: skip
_LEFT_OUT = (
    Shown("target", "target left out"), Shown("science_held", "science, plan kept", "3"),
    Shown("science_replanned", "science, made again", "3"), Shown("science_change", "change", "3"),
)  # fmt: skip


_RESTS_ON = (
    Shown("key", "default"), Shown("value", "value", "4"), Shown("unit", "unit"), Shown("low", "from", "4"),
    Shown("high", "to", "4"), Shown("science_low", "science at the lower end", "3"),
    Shown("science_high", "at the upper end", "3"), Shown("change", "change", "3"),
    Shown("decisive", "more than 0.02", "yes"), Shown("source", "source of the range"),
)  # fmt: skip


def _change(tables: PageTables) -> Markup:
    said = NOTHING
    if tables.has("sensitivity"):
        said += place("tornado", alone=True)
        said += _rows("sensitivity", tables, _SENSITIVITY, caption="One setting changed at a time")
    if tables.has("left_out"):
        said += _rows("left_out", tables, _LEFT_OUT, caption="One target left out at a time")
    if tables.has("rests_on"):
        caption = (
            "Defaults that the study does not set, moved within their ranges: the same plan, judged again"
        )
        moved = archive_table("rests_on", tables["rests_on"], _RESTS_ON, caption=caption)
        said += folded("Every default that the study does not set, moved within its range", moved)
    return said


_RISK = (
    Shown("item", "item"), Shown("cause", "cause"), Shown("likelihood", "likelihood", "3"),
    Shown("consequence", "science lost (share)", "3"), Shown("likelihood_bin", "likelihood bin", "0"),
    Shown("consequence_bin", "consequence bin", "0"), Shown("source", "source"),
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
        ("likelihood / consequence", *"12345"), rows, caption="Numbers of the risks by their bins"
    )
    table = archive_table(
        "risk_table", tables["risk_table"], _RISK, caption="Risks, the highest first", order=risk_order(tables),
        numbered=True,
    )  # fmt: skip
    count = with_rows("Risks, the highest first", tables["risk_table"])
    return place("risk", alone=True) + folded(count, table, narrow=True) + folded("The grid as a table", grid)


_MASS = (
    Shown("item", "item"), Shown("best_kg", "best estimate, kg", "2"),
    Shown("contingency_kg", "contingency, kg", "2"),
    Shown("expected_kg", "expected, kg", "2"), Shown("margin_kg", "margin, kg", "2"),
    Shown("maximum_kg", "at most, kg", "2"), Shown("margin_of_expected", "margin / expected", "%1"),
    Shown("margin_of_maximum", "margin / at most", "%1"),
)  # fmt: skip
_DELTA_V = (
    Shown("probe", "probe", "id"), Shown("opportunity", "opportunity", "id"),
    Shown("deterministic_m_s", "burn, m/s", "2"), Shown("statistical_m_s", "corrections (99 %), m/s", "2"),
    Shown("attitude_m_s", "attitude, m/s", "2"), Shown("best_m_s", "best estimate, m/s", "2"),
    Shown("contingency_m_s", "contingency, m/s", "2"), Shown("expected_m_s", "expected, m/s", "2"),
    Shown("carried_m_s", "carried, m/s", "2"), Shown("margin_m_s", "margin, m/s", "2"),
)  # fmt: skip
_POWER = (
    Shown("probe", "probe", "id"), Shown("opportunity", "opportunity", "id"),
    Shown("sun_range_au", "from the Sun, au", "2"), Shown("panel_w", "panels, W", "1"),
    Shown("idle_w", "idle load, W", "1"), Shown("radio_w", "left for the radio, W", "1"),
    Shown("transmit_hours_per_day", "transmitting, h a day", "1"),
)  # fmt: skip
_REFINED = (
    Shown("probe", "probe", "id"), Shown("target", "target"), Shown("burn_m_s", "burn, m/s", "3"),
    Shown("burn_change_m_s", "change, m/s", "3"), Shown("aim_km", "aim, km", "1"), Shown("miss_km", "miss, km", "3"),
    Shown("delivery_sigma_km", "delivery, 1 sigma, km", "1"), Shown("dv99_m_s", "corrections (99 %), m/s", "2"),
    Shown("success", "delivered (chance)", "3"),
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
            shown = columns or tuple(declared(name, key) for key in tables[name].column_names)
            made += _rows(name, tables, shown, caption=caption)
    if not made:
        return NOTHING
    return paragraph(f"Of plan {tables.plan}. Margins as the study's policy sets them.") + made


def _refined(tables: PageTables) -> Markup:
    if not tables.has("refined"):
        return NOTHING
    cautions = tables.run.manifest["notes"].get("refined", {}).get("cautions", [])
    return _rows("refined", tables, _REFINED, caption="Arcs under all forces") + listing(cautions)


_RECOURSE = (
    Shown("probe", "probe", "id"), Shown("target", "target"), Shown("opportunity", "opportunity", "id"),
    Shown("burn_by_jd_tdb", "its burn (TDB)", "date"),
    Shown("decide_by_jd_tdb", "any use until (TDB)", "date"), Shown("alternates", "other targets", "0"),
    Shown("science", "science", "3"), Shown("science_without", "without the probe", "3"),
    Shown("science_reassigned", "others re-assigned", "3"),
)  # fmt: skip
_ALTERNATES = (
    Shown("probe", "probe", "id"), Shown("rank", "rank", "0"), Shown("target", "target"),
    Shown("opportunity", "opportunity", "id"), Shown("release_jd_tdb", "release (TDB)", "date"),
    Shown("encounter_jd_tdb", "encounter (TDB)", "date"), Shown("burn_m_s", "burn, m/s", "1"),
    Shown("propellant_kg", "propellant, kg", "3"), Shown("science", "science with it", "3"),
)  # fmt: skip


def _recourse(tables: PageTables) -> Markup:
    if not tables.has("recourse"):
        return NOTHING
    caption = "If a probe is dead at its check-out"
    said = _rows("recourse", tables, _RECOURSE, caption=caption)
    if tables.has("alternates"):
        caption = "What a probe could visit instead"
        others = archive_table("alternates", tables["alternates"], _ALTERNATES, caption=caption)
        said += folded("Alternates of each probe", others)
    return said


_OBSERVE = (
    Shown("target", "target"), Shown("name", "name"), Shown("plans", "in plans", "0"),
    Shown("first_release_jd_tdb", "first release (TDB)", "date"), Shown("u_code", "orbit uncertainty U", "0"),
    Shown("class", "class"), Shown("first_seen_jd_tdb", "seen from (TDB)", "date"),
    Shown("last_seen_jd_tdb", "until (TDB)", "date"), Shown("brightest_mag", "brightest, mag", "1"),
    Shown("science_gained_orbit", "science from a better orbit", "4"),
    Shown("science_gained_class", "science from colours", "4"),
)  # fmt: skip


def _observe(tables: PageTables) -> Markup:
    if not tables.has("observe"):
        return NOTHING
    return _rows("observe", tables, _OBSERVE, caption="Targets worth observing before release")


def _assumptions(tables: PageTables) -> Markup:
    notes = tables.run.manifest["notes"]
    said = [
        *notes.get("catalogue", {}).get("rules", []),
        *notes.get("knowledge", []),
        *tables.run.manifest["warnings"],
    ]
    rows = study_rows(tables.run.study)
    table = plain_table(("key", "value", "unit", "source"), rows, caption="The study as understood")
    decisive = NOTHING
    if tables.has("rests_on"):
        decisive = part("heading", "Those that decide") + listing(rests_on_lines(tables["rests_on"]))
    return decisive + listing(said) + folded(f"All {len(rows)} keys of the study as understood", table)


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
    table = plain_table(("what", "which"), rows, caption="Where this page comes from")
    return folded("Inputs, libraries and seed", table)


def _cautions(tables: PageTables) -> Markup:
    return listing(CAUTIONS)


GROUPS: tuple[SectionGroup, ...] = (
    SectionGroup("summary", "Summary", (
        PageSection("beware", "To beware of", "what must nobody overlook?", cautions_on_top, may_lack=True),
        PageSection("answer", "The answer", "what is proposed, and what limits it?", answer),
    )),
    SectionGroup("choose", "Plans", (
        PageSection("plans", "Plans to choose from", "which plan, and what does each cost?", _front),
        PageSection("counts-of", "How many probes", "what does one probe more or less change?", _counts),
        PageSection("returned", "How many return", "how many probes may be lost?", _returned),
    )),
    SectionGroup("flight", "Flight", (
        PageSection("where", "Where it happens", "where do the probes go, and how far apart are they?", _where),
        PageSection("dates", "When it happens", "what has to be done when?", _dates),
        PageSection("encounters-of", "Encounters", "what is met, how fast, and what comes home?", _encounters),
        PageSection("aim", "One probe", "how close can it pass, and could it leave on another day?", _probe),
        PageSection("passes-of", "Low passes", "how low, over what, at what risk?", low_passes, may_lack=True),
        PageSection("entries-of", "Into the air", "in the corridor, and heard?", entry_section, may_lack=True),
        PageSection("orbits-of", "In orbit", "how low, how long, and what does a sigma cost?", orbit_section,
                    may_lack=True),
        PageSection("refined-of", "Under all forces", "does it hold when everything pulls?", _refined),
        PageSection("budgets", "Budgets", "do mass, propellant and power close?", _budgets),
        PageSection("account-of", "Beside the flight",
                    "does the launch close, what does it cost, and who is heard when?", account_section),
    )),
    SectionGroup("doubt", "Risk and change", (
        PageSection("risks", "Risks", "what can go wrong, the worst first?", _risk),
        PageSection("change", "What would change it", "which assumption decides the answer?", _change),
        PageSection("recourse-of", "If a probe fails", "what is done when one is dead?", _recourse),
        PageSection("observe-of", "What astronomers could help with", "what is worth learning before?", _observe),
    )),
    SectionGroup("grounds", "Grounds", (
        PageSection("cautions", "Cautions", "what must this not be used for?", _cautions),
        PageSection("proof", "How good the search is", "could a better plan have been missed?", _proof),
        PageSection("reach", "Is the reach plausible", "are there as many targets as one expects?", _density),
        PageSection("assumptions", "Assumptions and their sources", "what was put in, by whom?", _assumptions),
        PageSection("provenance", "Provenance", "can it be made again?", _provenance),
    )),
)  # fmt: skip


def made_sections(tables: PageTables) -> tuple[list[Made], list[str]]:
    """The groups with the sections that the run has something for, and the titles of the other sections."""
    groups, missing = [], []
    for group in GROUPS:
        made = [Made(one.anchor, one.title, one.make(tables)) for one in group.sections]
        pairs = zip(group.sections, made, strict=True)
        missing += [one.title for one, there in pairs if not (there.html or one.may_lack)]
        there = tuple(one for one in made if one.html)
        if there:
            groups.append(Made(group.anchor, group.title, NOTHING, there))
    return groups, missing
