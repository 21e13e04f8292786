"""Tables of orbits about bodies: what each row comes to, and how high the drawn ones fly.

They are written where orbits are judged; the search does not take those yet, so they are not among what a run makes.
"""

from __future__ import annotations

from swarm.run.tables.declaration import Table, real, text, whole

TABLES = (
    Table(
        "orbits",
        "judge",
        "one opportunity of kind orbit",
        (
            whole("opportunity", "number in `opportunities`"),
            text("capture", "impulsive or spiral"),
            real("insertion_m_s", "m/s", "impulses at periapsis, the turn of the plane in them; 0 of a spiral"),
            real("finite_loss_m_s", "m/s", "what finite burns lose"),
            whole("burns", "burns at periapsis"),
            real("burn_s", "s", "the longest of them"),
            real("spiral_m_s", "m/s", "excess speed and spiral, an upper bound; 0 of impulses"),
            real("spiral_days", "d", "from arrival to the orbit, with duty and shadow"),
            real("periapsis_km", "km", "height of the mean orbit over the equatorial radius, at its begin"),
            real("apoapsis_km", "km", "the same, highest"),
            real("inclination_deg", "deg", "to the body's equator, at its begin"),
            real("argp_deg", "deg", "argument of periapsis from that equator, at its begin"),
            real("period_h", "h", "time of a revolution"),
            real("hours_below", "h", "time below approach.below_km in the band of latitudes asked for"),
            real("passes_below", "-", "passes there"),
            real("lowest_km", "km", "least height over the ellipsoid in its science"),
            real("clearance_km", "km", "the same over the highest ground; 0 where it ends there"),
            real("decay_days", "d", "from its begin until it meets the ground, let go after its work", gaps=True),
            real("maintain_m_s_per_month", "m/s", "upkeep in 30 d", gaps=True),
            real("maintain_m_s", "m/s", "upkeep in all"),
            real("science_days", "d", "from its begin until its science ends, however that is"),
            real("count_sigma", "-", "significance of the counter of the ground it looks for; 0 without one"),
            real("resolution_km", "km", "ground pixel at the least height in the band", gaps=True),
            real("impact_jd_tdb", "JD TDB", "meets the ground", gaps=True),
        ),
    ),
    Table(
        "altitudes",
        "judge",
        "one date of one drawn orbit",
        (
            whole("opportunity", "number in `opportunities`"),
            real("jd_tdb", "JD TDB", "date"),
            real("lowest_km", "km", "least height of a revolution over the ellipsoid"),
            real("highest_km", "km", "greatest"),
            real("latitude_deg", "deg", "geocentric, of the least"),
            real("e_cos", "-", "eccentricity vector along the ascending node on the body's equator"),
            real("e_sin", "-", "across it, in the plane"),
            real("inclination_deg", "deg", "to the body's equator"),
            real("spent_m_s", "m/s", "on upkeep until then"),
        ),
    ),
)  # fmt: skip
