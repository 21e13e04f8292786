"""The sections of the page in order: headings, places for figures, tables of the archive."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from swarm.report.answer import answer
from swarm.report.figures_of_runs import risk_cells
from swarm.report.markup import Column, archive_table, listing, plain_table, text
from swarm.report.page_tables import PageTables
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
    make: Callable[[PageTables], str]


def place(name: str, *, alone: bool = False) -> str:
    """Where `page.js` draws a figure; one that stands `alone` does not fill a wide page."""
    return f'<figure class="fig{" alone" if alone else ""}" id="fig-{name}" data-figure="{name}"></figure>'


def _answer(tables: PageTables) -> str:
    return answer(tables)


def _front(tables: PageTables) -> str:
    return (
        '<p class="screen">Choose a plan: click a mark, or focus a figure and use the arrow keys, or give its '
        "number. Map, dates, "
        "encounters and aim follow.</p>"
        '<div class="bar"><label>Plan <input type="number" id="plan" min="0"></label>'
        '<button type="button" id="plan-before">cheaper</button>'
        '<button type="button" id="plan-after">dearer</button>'
        '<button type="button" id="plan-chosen">the chosen plan</button></div>'
        '<p id="plan-said" class="said" role="status" aria-live="polite"></p>'
        f'<div class="two">{place("front")}{place("front_risk")}</div>'
        f"<details><summary>The front in lines</summary>{listing(tables.summary['front'])}</details>"
    )


def _where(tables: PageTables) -> str:
    if not tables.has("arcs"):
        lacking = "<p>This run folder holds no arcs; releases and encounters are drawn without them.</p>"
    else:
        lacking = ""
    return (
        f'{lacking}<div class="bar"><label>Date <input type="range" id="when" aria-describedby="when-said"></label>'
        '<output id="when-said" for="when"></output>'
        '<button type="button" id="when-play" aria-pressed="false">run</button></div>'
        '<p class="screen">Open circles are where mothership and probes are at the date.</p>'
        f'<div class="two">{place("map")}{place("map_side")}</div>'
    )


def _dates(tables: PageTables) -> str:
    return place("timeline") if tables.has("events") else ""


def _encounters(tables: PageTables) -> str:
    return (
        '<div class="bar"><label>Show rows with <input type="search" id="filter"></label>'
        '<button type="button" id="csv">Save as CSV</button><span id="rows-said" role="status"></span></div>'
        '<div class="wide" tabindex="0" role="region" aria-label="Encounters"><table id="encounters">'
        "<caption></caption><thead></thead><tbody></tbody></table></div>"
        '<p class="screen">The number of a probe is a button: it chooses the probe whose aim and windows are '
        "shown below.</p>"
    )


def _probe(tables: PageTables) -> str:
    aim = (
        place("b_plane")
        if tables.has("aims") and tables.has("judged")
        else "<p>This run folder holds no aims.</p>"
    )
    some = " Only part of the opportunities is drawn: there are too many." if _is_cut(tables) else ""
    return (
        '<div class="bar"><label>Probe <select id="probe"></select></label></div>'
        f'<div class="two">{aim}{place("windows")}</div><p class="note">{some}</p>'
    )


def _is_cut(tables: PageTables) -> bool:
    known = (
        set(tables["opportunities"]["target"].take(tables.used).to_pylist()) if len(tables.used) else set()
    )
    return sum(target in known for target in tables["opportunities"]["target"].to_pylist()) > len(
        tables.windows
    )


def _returned(tables: PageTables) -> str:
    return place("successes", alone=True) if tables.has("successes") else ""


_COUNTS = (
    Column("probes", "probes", "0"), Column("science", "science", "3"), Column("risk", "risk", "3"),
    Column("propellant_kg", "propellant, kg", "2"), Column("swarm_mass_kg", "swarm, kg", "1"),
    Column("swarm_mass_with_margins_kg", "with margins, kg", "1"), Column("p_baseline", "P(every baseline)", "3"),
    Column("cvar10_science", "science, worst tenth", "3"), Column("tracking_hours", "tracking, h", "0"),
    Column("science_best", "most science", "3"), Column("next_probe_science", "next probe adds", "4"),
    Column("next_probe_science_sd", "its spread, 1 sigma", "4"), Column("rule_met", "rule met", "yes"),
)  # fmt: skip
_DESCOPE = (
    Column("step", "step", "0"), Column("probe", "probe left out", "id"), Column("opportunity", "opportunity", "id"),
    Column("probes_left", "probes left", "0"), Column("science", "science", "3"), Column("risk", "risk", "3"),
    Column("propellant_kg", "propellant, kg", "2"),
)  # fmt: skip


def _counts(tables: PageTables) -> str:
    if not tables.has("counts"):
        return ""
    table = archive_table("counts", tables["counts"], _COUNTS, caption="Probe counts")
    descope = ""
    if tables.has("descope"):
        made = archive_table(
            "descope",
            tables["descope"],
            _DESCOPE,
            caption="Which probe to leave out first, from the largest count",
        )
        descope = f"<details><summary>Order of leaving probes out</summary>{made}</details>"
    return f'<div class="two">{place("counts")}{place("next_probe")}</div>{table}{descope}'


def _density(tables: PageTables) -> str:
    return place("density", alone=True) if tables.has("density") else ""


def _proof(tables: PageTables) -> str:
    drawn = [place(name) for name in ("bound", "convergence") if tables.has(name)]
    return f'<div class="two">{"".join(drawn)}</div>' if drawn else ""


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


def _change(tables: PageTables) -> str:
    if not tables.has("sensitivity"):
        return ""
    said = place("tornado", alone=True) + archive_table(
        "sensitivity", tables["sensitivity"], _SENSITIVITY, caption="One setting changed at a time"
    )
    if tables.has("left_out"):
        said += archive_table(
            "left_out", tables["left_out"], _LEFT_OUT, caption="One target left out at a time"
        )
    return said


_RISK = (
    Column("item", "item"), Column("cause", "cause"), Column("likelihood", "likelihood", "3"),
    Column("consequence", "science lost (share)", "3"), Column("likelihood_bin", "likelihood bin", "0"),
    Column("consequence_bin", "consequence bin", "0"), Column("source", "source"),
)  # fmt: skip


def _risk(tables: PageTables) -> str:
    if not tables.has("risk_table"):
        return ""
    cells = risk_cells(tables)
    rows = [
        [str(y + 1), *(", ".join(str(n + 1) for n in cells[x, y]) for x in range(5))]
        for y in reversed(range(5))
    ]
    grid = plain_table(
        ("likelihood / consequence", *"12345"), rows, caption="Rows of the risk table by their bins"
    )
    table = archive_table("risk_table", tables["risk_table"], _RISK, caption="Risks")
    return (
        f"{place('risk', alone=True)}{table}<details><summary>The grid as a table</summary>{grid}</details>"
    )


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
_REFINED = (
    Column("probe", "probe", "id"), Column("target", "target"), Column("burn_m_s", "burn, m/s", "3"),
    Column("burn_change_m_s", "change, m/s", "3"), Column("aim_km", "aim, km", "1"), Column("miss_km", "miss, km", "3"),
    Column("delivery_sigma_km", "delivery, 1 sigma, km", "1"), Column("dv99_m_s", "corrections (99 %), m/s", "2"),
    Column("success", "delivered (chance)", "3"),
)  # fmt: skip


def _budgets(tables: PageTables) -> str:
    parts = []
    if tables.has("mass_budget"):
        parts.append(archive_table("mass_budget", tables["mass_budget"], _MASS, caption="Mass of the swarm"))
    if tables.has("delta_v_budget"):
        parts.append(
            archive_table(
                "delta_v_budget", tables["delta_v_budget"], _DELTA_V, caption="Delta-v of each probe"
            )
        )
    if tables.has("recoil"):
        columns = tuple(_guessed(key) for key in tables["recoil"].column_names)
        parts.append(archive_table("recoil", tables["recoil"], columns, caption="Recoil of the mothership"))
    if parts:
        parts.insert(0, f"<p>Of plan {tables.plan}. Margins as the study's policy sets them.</p>")
    return "".join(parts)


_UNITS = {"_m_s": "m/s", "_kg": "kg", "_km": "km", "_days": "d", "_deg": "deg"}


def _guessed(key: str) -> Column:
    """A column shown under its own name: dates as days, whole numbers whole, the rest with four decimals."""
    if key.endswith("_jd_tdb"):
        return Column(key, f"{key.removesuffix('_jd_tdb').replace('_', ' ')} (TDB)", "date")
    form = "id" if key in ("probe", "plan", "opportunity", "step") else "4"
    unit = next((said for end, said in _UNITS.items() if key.endswith(end)), "")
    stem = key.removesuffix(next((end for end in _UNITS if key.endswith(end)), "")).replace("_", " ")
    return Column(key, f"{stem}, {unit}" if unit else stem, form)


def _refined(tables: PageTables) -> str:
    if not tables.has("refined"):
        return ""
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


def _recourse(tables: PageTables) -> str:
    if not tables.has("recourse"):
        return ""
    said = archive_table(
        "recourse", tables["recourse"], _RECOURSE, caption="If a probe is dead at its check-out"
    )
    if tables.has("alternates"):
        made = archive_table(
            "alternates", tables["alternates"], _ALTERNATES, caption="What a probe could visit instead"
        )
        said += f"<details><summary>Alternates of each probe</summary>{made}</details>"
    return said


_OBSERVE = (
    Column("target", "target"), Column("name", "name"), Column("plans", "in plans", "0"),
    Column("first_release_jd_tdb", "first release (TDB)", "date"), Column("u_code", "orbit uncertainty U", "0"),
    Column("class", "class"), Column("first_seen_jd_tdb", "seen from (TDB)", "date"),
    Column("last_seen_jd_tdb", "until (TDB)", "date"), Column("brightest_mag", "brightest, mag", "1"),
    Column("science_gained_orbit", "science from a better orbit", "4"),
    Column("science_gained_class", "science from colours", "4"),
)  # fmt: skip


def _observe(tables: PageTables) -> str:
    if not tables.has("observe"):
        return ""
    return archive_table(
        "observe", tables["observe"], _OBSERVE, caption="Targets worth observing before release"
    )


def _assumptions(tables: PageTables) -> str:
    notes = tables.run.manifest["notes"]
    said = [
        *notes.get("catalogue", {}).get("rules", []),
        *notes.get("knowledge", []),
        *tables.run.manifest["warnings"],
    ]
    rows = study_rows(tables.run.study)
    table = plain_table(("key", "value", "unit", "source"), rows, caption="The study as understood")
    return listing(said) + table


def _provenance(tables: PageTables) -> str:
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


def _cautions(tables: PageTables) -> str:
    return listing(CAUTIONS)


SECTIONS: tuple[Section, ...] = (
    Section("answer", "The answer", _answer),
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


def body(tables: PageTables) -> str:
    """The sections that the run has something for; those left out are said in one line."""
    made = [(section, section.make(tables)) for section in SECTIONS]
    there = [(section, html) for section, html in made if html]
    missing = [section.title for section, html in made if not html]
    return _contents([section for section, _ in there], missing) + "".join(
        f'<section id="{one.anchor}" aria-labelledby="{one.anchor}-h"><h2 id="{one.anchor}-h">{text(one.title)}</h2>'
        f"{html}</section>\n"
        for one, html in there
    )


def _contents(there: Sequence[Section], missing: Sequence[str]) -> str:
    links = "".join(f'<li><a href="#{one.anchor}">{text(one.title)}</a></li>' for one in there)
    said = f'<p class="note">Not in this run folder: {text(", ".join(missing))}.</p>' if missing else ""
    return f'<nav aria-label="Sections"><ul>{links}</ul>{said}</nav><main>'
