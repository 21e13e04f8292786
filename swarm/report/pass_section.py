"""The sections of low passes on the page: what to beware of, on top of it, and the passes of the chosen plan."""

from __future__ import annotations

import math
from typing import Any

from markupsafe import Markup

from swarm.report.markup import Shown, archive_table, beside, listing, paragraph, part, place
from swarm.report.page_tables import PageTables, plan_rows
from swarm.report.pass_figures import figure_names, pass_rows, passed_bodies
from swarm.study.kind_names import ENTRY, LOW_PASS

_PASSES = (
    Shown("opportunity", "opportunity", "id"), Shown("target", "body"),
    Shown("encounter_jd_tdb", "lowest (TDB)", "date"),
    Shown("altitude_km", "height, km", "1"), Shown("latitude_deg", "latitude, deg", "1"),
    Shown("longitude_e_deg", "longitude E, deg", "1"), Shown("sun_elevation_deg", "Sun up, deg", "0"),
    Shown("ground_speed_km_s", "over the ground, km/s", "2"), Shown("pixel_m", "pixel, m", "2"),
    Shown("smear_px", "smear, px", "2"), Shown("dwell_s", "below 100 km, s", "0"),
    Shown("sigma_altitude_km", "height, 1 sigma, km", "1"), Shown("impact_chance", "chance of impact", "7"),
    Shown("lowest_altitude_for_limit_km", "least height for the limit, km", "1"),
)  # fmt: skip


_DISPERSED = (
    Shown("probe", "probe", "id"), Shown("target", "body"), Shown("samples", "samples", "0"),
    Shown("height_low_km", "1 % lower than, km", "1"), Shown("height_median_km", "half lower than, km", "1"),
    Shown("height_high_km", "99 % lower than, km", "1"), Shown("sigma_major_km", "arrival, 1 sigma, km", "1"),
    Shown("judged_sigma_major_km", "judged", "1"), Shown("dead_sigma_km", "uncorrected, 1 sigma, km", "1"),
    Shown("judged_dead_sigma_km", "judged", "1"), Shown("dv99_m_s", "corrections (99 %), m/s", "2"),
    Shown("judged_dv99_m_s", "judged", "2"), Shown("affordable", "can pay", "%1"),
    Shown("impact_chance", "chance of impact", "7"), Shown("judged_impact_chance", "judged", "7"),
)  # fmt: skip


_AFTER = (
    Shown("probe", "probe", "id"), Shown("target", "moon"), Shown("samples", "samples", "0"),
    Shown("bound", "stay bound", "0"), Shown("years", "followed, years", "1"), Shown("hits", "hit the moon", "0"),
    Shown("elsewhere", "hit another body", "0"), Shown("gone", "leave", "0"),
    Shown("hit_chance_low", "chance to hit it, from", "4"), Shown("hit_chance_high", "to (95 %)", "4"),
    Shown("rate_per_year", "then a year", "7"), Shown("rate_low_per_year", "from", "7"),
    Shown("rate_high_per_year", "to", "7"),
)  # fmt: skip


def low_passes(tables: PageTables) -> Markup:
    """Of the chosen plan: figures a body at a time, then its passes as a table."""
    bodies = passed_bodies(tables)
    if not bodies:
        return Markup("")
    said = paragraph(f"Of plan {tables.plan}.")
    for body in bodies:
        said += part("heading", body) + beside(*(place(name) for name in figure_names(body)))
    order = [
        tables.row("opportunities", "opportunity", row["opportunity"])
        for body in bodies
        for row in pass_rows(tables, body)
    ]
    caption = "Low passes of the plan"
    said += archive_table("opportunities", tables["opportunities"], _PASSES, caption=caption, order=order)
    if tables.has("dispersed_passes"):
        caption = "The same flown with errors, sample by sample, beside what was judged by matrices"
        said += archive_table("dispersed_passes", tables["dispersed_passes"], _DISPERSED, caption=caption)
    if tables.has("bound_after"):
        caption = "What becomes of a probe after its pass: disposal is not planned here"
        said += archive_table("bound_after", tables["bound_after"], _AFTER, caption=caption)
    return said


def cautions_on_top(tables: PageTables) -> Markup:
    """What nobody must overlook who reads on."""
    said = pass_cautions(tables)
    return listing(said) if said else Markup("")


def pass_cautions(tables: PageTables) -> list[str]:
    """Sentences about the planets and moons that the chosen plan passes."""
    if not tables.has("places"):
        return []
    places = {row["name"]: row for row in tables["places"].to_pylist()}
    flown = [
        row for row in plan_rows(tables, tables.plan) if row["target"] in places and row["kind"] == LOW_PASS
    ]
    said = []
    for body in dict.fromkeys(row["target"] for row in flown):
        said += _of_body(tables, places[body], [row for row in flown if row["target"] == body])
    entries = [row for row in plan_rows(tables, tables.plan) if row["kind"] == ENTRY]
    for body in dict.fromkeys(row["target"] for row in entries):
        said += _on_course(body, [row for row in entries if row["target"] == body])
    return said


def _on_course(body: str, rows: list[dict[str, Any]]) -> list[str]:
    """How long the mothership is on the way of a probe that it aims, and what that risks."""
    course = [row for row in rows if (row.get("impact_course_days") or 0.0) > 0.0]
    if not course:
        return []
    days = max(row["impact_course_days"] for row in course)
    hit = max(row.get("carrier_impact_chance") or 0.0 for row in course)
    return [
        f"The mothership is on the course of a probe at {body} for up to {days:.3g} days before it turns away; "
        f"should it fail to, it hits with a chance of up to {hit:.2g} a time."
    ]


def _of_body(tables: PageTables, place: dict[str, Any], rows: list[dict[str, Any]]) -> list[str]:
    body, said = place["name"], []
    protection = tables.run.study.protection
    limit, years = protection.impact_chance_max.get(body), protection.bound_years
    if place["may_harbour_life"] or limit is not None:
        life = f"{body} may harbour life. " if place["may_harbour_life"] else ""
        later = math.fsum(row.get("later_impact_chance") or 0.0 for row in rows)
        total = math.fsum(row.get("impact_chance") or 0.0 for row in rows) + later
        again = f", {later:.2g} of it within {years:g} years later, of what stays bound to the planet"
        if not years:
            again = " on its pass (what stays bound is not counted: protection.bound_years = 0)"
        held = "the study sets no limit" if limit is None else f"the limit of the study is {limit:.3g}"
        said.append(
            f"{life}The chance that a probe of the chosen plan hits {body} is at most {total:.2g}{again}; {held}. That "
            "is the chance of an impact, not of what comes of it. Disposal is not planned here. Planetary protection "
            "rests with the responsible authorities."
        )
    said += _on_course(body, rows)
    if place["approximate"]:
        said.append(
            f"{body} is placed by a {place['ephemeris']}, to {place['ephemeris_error_km']:.3g} km: date and place of "
            "a pass move with that, not its shape. Good for a concept only."
        )
    said.append(
        f"Heights over {body} are over an ellipsoid, not over the ground: relief, or an atmosphere, reaches "
        f"{place['lowest_km']:g} km, and what comes lower is taken to hit."
    )
    return said
