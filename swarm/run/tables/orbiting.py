"""Tables of orbits about bodies: what each row comes to, and how high the drawn ones fly.

How an orbit is arrived at stands in `passes`, as of every row that comes to a place.
"""

from __future__ import annotations

import pyarrow as pa

from swarm.run.tables.declaration import Column, Table, real, text, vector, whole

_LISTS = pa.list_(pa.float64())
ORBIT_COLUMNS = (
    whole("opportunity", "number in `opportunities`"),
    text("capture", "impulsive or spiral"),
    real("insertion_m_s", "m/s", "impulses at periapsis, the turn of the plane in them; 0 of a spiral"),
    real("finite_loss_m_s", "m/s", "what finite burns lose"),
    whole("burns", "burns at periapsis"),
    real("burn_s", "s", "the longest of them"),
    Column("burn_parts_m_s", _LISTS, "m/s", "each of them, without losses; none of a spiral"),
    Column("burn_lengths_s", _LISTS, "s", "how long each takes"),
    real("excess_m_s", "m/s", "excess speed that a spiral takes off far out; 0 of impulses"),
    real("spiral_m_s", "m/s", "excess speed and spiral, an upper bound; 0 of impulses"),
    real("spiral_days", "d", "from arrival to the orbit, with duty and shadow"),
    real("periapsis_km", "km", "height of the mean orbit over the equatorial radius, at its begin"),
    real("apoapsis_km", "km", "the same, highest"),
    real("inclination_deg", "deg", "to the body's equator, at its begin"),
    real("argp_deg", "deg", "argument of periapsis from that equator, at its begin"),
    real("period_h", "h", "time of a revolution"),
    real("hours_below", "h", "time below approach.below_km, at any latitude"),
    real("passes_below", "-", "passes there"),
    real("least_km", "km", "least height over the ellipsoid in its science"),
    real("clearance_km", "km", "the same over the highest ground; 0 where it ends there"),
    real("decay_days", "d", "from its begin until it meets the ground in its science", gaps=True),
    real("maintain_m_s_per_month", "m/s", "upkeep in 30 d", gaps=True),
    real("maintain_m_s", "m/s", "upkeep in all"),
    real("science_days", "d", "from its begin until its science ends, however that is"),
    text("ended", "how its science ends"),
    real("count_sigma", "-", "greatest of `band_sigma`"),
    real("resolution_km", "km", "ground pixel at the least height below approach.below_km", gaps=True),
    real("impact_jd_tdb", "JD TDB", "meets the ground in its science", gaps=True),
    Column(
        "hours_by_latitude", _LISTS, "h", "time below approach.below_km in bands of 10 deg from the south"
    ),
    Column("band_south_deg", _LISTS, "deg", "bands of latitude that science rows ask for: their south"),
    Column("band_north_deg", _LISTS, "deg", "their north"),
    Column("band_hours", _LISTS, "h", "time below approach.below_km in each"),
    Column("band_passes", _LISTS, "-", "passes there"),
    Column(
        "band_sigma", _LISTS, "-", "significance of the counter of the ground it looks for; 0 without one"
    ),
    Column("band_pixel_m", _LISTS, "m", "ground pixel at the least height there; 0 where it is never there"),
    real("begin_tdb_s", "s", "the orbit begins, seconds past J2000 TDB"),
    real("mean_a_km", "km", "semi-major axis of the mean orbit"),
    *vector("mean_j_", "-", "sqrt(1 - e^2) along its angular momentum, ICRF", suffix=""),
    *vector("mean_e_", "-", "eccentricity towards its periapsis, ICRF", suffix=""),
    real("left_m_s", "m/s", "left in the tank for upkeep at its begin"),
    real("later_m_s", "m/s", "planned after the main impulse: insertion or spiral, losses, upkeep"),
    real("insertion_success", "-", "chance that insertion works"),
    real("harmless_chance", "-", "chance that the height delivered is over the ground"),
)
ALTITUDE_COLUMNS = (
    whole("opportunity", "number in `opportunities`"),
    real("jd_tdb", "JD TDB", "date"),
    text("phase", "science; let-go, when it is over and nothing is spent on it any more"),
    real("lowest_km", "km", "least height of a revolution over the ellipsoid"),
    real("highest_km", "km", "greatest"),
    real("latitude_deg", "deg", "geocentric, of the least"),
    real("longitude_e_deg", "deg", "east, of the least"),
    real("e_cos", "-", "eccentricity vector along the ascending node on the body's equator"),
    real("e_sin", "-", "across it, in the plane"),
    real("inclination_deg", "deg", "to the body's equator"),
    real("spent_m_s", "m/s", "on upkeep until then"),
)
TABLES = (
    Table(
        "orbits", "screen", "an orbit about a planet or moon, by averaged motion; only where there are any",
        ORBIT_COLUMNS, widens="opportunities",
    ),
)  # fmt: skip
DRAWN_ORBITS = (
    Table(
        "altitudes", "optimize", "a date of an orbit that some plan of the front flies; only where there are any",
        ALTITUDE_COLUMNS,
        beside="plans",
    ),
)  # fmt: skip
