"""The section of the page on probes that stop at a body: what a sigma costs, their figures, their table."""

from __future__ import annotations

from markupsafe import Markup

from swarm.decide.sigma_price import price_lines
from swarm.report.markup import Shown, archive_table, beside, listing, paragraph, place
from swarm.report.orbit_figures import orbits_shown, prices_of
from swarm.report.page_tables import PageTables

_SHOWN = (
    Shown("opportunity", "opportunity", "id"), Shown("capture", "way in"), Shown("periapsis_km", "lowest, km", "0"),
    Shown("apoapsis_km", "highest, km", "0"), Shown("inclination_deg", "inclination, deg", "1"),
    Shown("insertion_m_s", "insertion, m/s", "0"), Shown("spiral_m_s", "spiral (at most), m/s", "0"),
    Shown("spiral_days", "way, d", "1"), Shown("science_days", "science, d", "1"),
    Shown("least_km", "least height, km", "1"), Shown("maintain_m_s", "upkeep, m/s", "1"),
    Shown("hours_below", "low, h", "1"), Shown("passes_below", "passes", "0"),
    Shown("count_sigma", "counter, sigma", "2"), Shown("ended", "end of the science"),
)  # fmt: skip
_FLOWN = (
    Shown("probe", "probe", "id"), Shown("burns", "burns", "0"), Shown("insertion_m_s", "insertion, m/s", "1"),
    Shown("judged_insertion_m_s", "judged", "1"), Shown("spiral_m_s", "spiral, m/s", "0"),
    Shown("judged_spiral_m_s", "judged", "0"), Shown("spiral_days", "spiral, d", "0"),
    Shown("periapsis_km", "periapsis, km", "1"),
    Shown("judged_periapsis_km", "judged", "1"), Shown("apoapsis_km", "apoapsis, km", "1"),
    Shown("judged_apoapsis_km", "judged", "1"), Shown("days", "followed, d", "1"),
    Shown("least_km", "least height, km", "1"), Shown("judged_least_km", "averaged", "1"),
)  # fmt: skip
_CAUTIONS = (
    "Orbits: averaged motion in the field given; how well that is known stands in the warnings of the run.",
    "What stays in orbit comes down: its impact counts with chance 1, and disposal is not planned here. Where others "
    "fly or stand, their rules and those on debris, historic sites and protected regions come first.",
)


def orbit_section(tables: PageTables) -> Markup:
    """Nothing where no plan of the front has an orbit."""
    rows = orbits_shown(tables)
    if not rows:
        return Markup("")
    chosen = (
        "" if rows[0]["plan"] == tables.plan else f"Of plan {rows[0]['plan']}: the chosen one has no orbit."
    )
    drawn = Markup("")
    if tables.has("altitudes"):
        drawn = place("orbit_altitudes", alone=True) + beside(place("orbit_e_vector"), place("orbit_ends"))
    prices = prices_of(tables)
    priced = Markup("")
    if prices:
        priced = listing(price_lines(prices)) + place("orbit_price", alone=True)
    reached = Markup("")
    if tables.has("flown_orbits"):
        caption = "The chosen plan's, reached and flown in the full field, beside what was judged"
        reached = archive_table("flown_orbits", tables["flown_orbits"], _FLOWN, caption=caption)
    numbers = tables["orbits"]["opportunity"].to_pylist()
    order = [numbers.index(row["opportunity"]) for row in rows]
    return (
        paragraph(chosen, "note")
        + priced
        + beside(place("orbit_ladder"), place("orbit_hours"))
        + drawn
        + archive_table("orbits", tables["orbits"], _SHOWN, caption="Orbits of the plan", order=order)
        + reached
        + listing(_CAUTIONS)
    )
