"""The section of the page on probes that enter an atmosphere: what limits them, their figures, their table."""

from __future__ import annotations

from markupsafe import Markup

from swarm.report.entry_figures import entries_shown
from swarm.report.markup import Shown, archive_table, beside, listing, paragraph, place
from swarm.report.page_tables import PageTables

_SHOWN = (
    Shown("opportunity", "opportunity", "id"), Shown("angle_inertial_deg", "angle, deg", "2"),
    Shown("angle_sigma_deg", "1 sigma, deg", "2"), Shown("corridor_shallow_deg", "from, deg", "2"),
    Shown("corridor_steep_deg", "to, deg", "2"), Shown("corridor_chance", "in the corridor", "3"),
    Shown("v_entry_relative_km_s", "against the air, km/s", "2"), Shown("latitude_deg", "latitude, deg", "1"),
    Shown("local_solar_h", "solar time, h", "1"), Shown("peak_g", "g", "0"),
    Shown("flux_convective_w_cm2", "convective, W/cm^2", "0"), Shown("heat_load_j_cm2", "J/cm^2", "0"),
    Shown("reached_bar", "lost at, bar", "2"), Shown("lost", "lost by"), Shown("relay_min", "heard, min", "1"),
    Shown("relay_mbit", "by relay, Mbit", "1"), Shown("direct_mbit", "to Earth, Mbit", "2"),
    Shown("limited_by", "limited by"), Shown("carrier_back_m_s", "mothership back, m/s", "2"),
    Shown("impact_course_days", "on its course, d", "1"),
)  # fmt: skip
_FIGURES = ("entry_decel", "entry_flux", "entry_load", "entry_down")
_CAUTIONS = (
    "Entries: drag alone, no lift and no ablation, mean density; radiation of the shock layer only where a published "
    "correlation covers it (heating_known).",
    "What enters stays: planetary protection asks for its own review of every entry. Break-up and ground safety of "
    "entries of the Earth are not computed here.",
)


def entry_section(tables: PageTables) -> Markup:
    """Nothing where no plan of the front has an entry."""
    rows = entries_shown(tables)
    if not rows:
        return Markup("")
    limits = tables.run.manifest["notes"].get("limits_of_rows", [])
    chosen = (
        "" if rows[0]["plan"] == tables.plan else f"Of plan {rows[0]['plan']}: the chosen one has no entry."
    )
    drawn = beside(*(place(name) for name in _FIGURES)) if tables.has("profiles") else Markup("")
    numbers = tables["entries"]["opportunity"].to_pylist()
    order = [numbers.index(row["opportunity"]) for row in rows]
    return (
        paragraph(chosen, "note")
        + listing(limits)
        + place("entry_corridor", alone=True)
        + drawn
        + beside(place("entry_sites"), place("entry_limits"))
        + archive_table("entries", tables["entries"], _SHOWN, caption="Entries of the plan", order=order)
        + listing(_CAUTIONS)
    )
