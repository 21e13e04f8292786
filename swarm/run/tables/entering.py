"""Tables of entries: what a probe that enters an atmosphere meets and bears, and the way down of those of a front."""

from __future__ import annotations

import pyarrow as pa

from swarm.run.tables.declaration import Column, Table, flag, real, text, vector, whole

_LISTS = pa.list_(pa.float64())

ENTRY_COLUMNS = (
    whole("opportunity", "number of the opportunity"),
    text("approach", "name of the [[approach]] that asks for it"),
    whole("passage", "passage of the body by the mothership, from 1"),
    real("days_before", "d", "release before the mothership's closest approach"),
    real("clock_deg", "deg", "clock angle of the aim point that is asked for, from T towards R"),
    real("arrival_offset_s", "s", "arrival at the interface after the mothership's closest approach"),
    real("v_inf_km_s", "km/s", "speed at infinity relative to the body"),
    real("v_entry_inertial_km_s", "km/s", "speed at the interface, in axes that do not turn"),
    real("v_entry_relative_km_s", "km/s", "the same against the turning air"),
    real("angle_deg", "deg", "path angle below the horizon at the interface, against the turning air"),
    real("angle_inertial_deg", "deg", "the same in axes that do not turn"),
    real("heading_deg", "deg", "heading at the interface against the air, from north to east"),
    real("latitude_deg", "deg", "latitude of the entry, planetocentric"),
    real("longitude_e_deg", "deg", "its longitude, east"),
    real("local_solar_h", "h", "its local solar time, noon at 12"),
    real("sun_elevation_deg", "deg", "Sun over the horizon there"),
    real("angle_sigma_deg", "deg", "1 sigma of the inertial angle after all corrections"),
    real("corridor_shallow_deg", "deg", "shallow edge of the corridor, inertial", gaps=True),
    real("corridor_steep_deg", "deg", "steep edge of the corridor, inertial", gaps=True),
    text("shallow_limit", "what the shallow edge is: skip, load, none"),
    text("steep_limit", "what the steep edge is: g, flux, none; skip where every angle does"),
    real("corridor_chance", "-", "chance to enter between the edges, with corrections that can be paid"),
    text("limited_by", "what keeps it from more: tank, skip, g, flux, load, relay, or what it is lost by"),
    real("peak_g", "g", "largest deceleration"),
    real("peak_g_altitude_km", "km", "height of it"),
    real("peak_q_kpa", "kPa", "largest dynamic pressure"),
    real("flux_convective_w_cm2", "W/cm^2", "largest convective heat flux at the nose, cold wall"),
    real("flux_radiative_w_cm2", "W/cm^2", "largest radiative one; 0 where no correlation covers it"),
    real("heat_load_j_cm2", "J/cm^2", "heat load there"),
    flag("heating_known", "whether radiation is in these numbers"),
    real("reached_bar", "bar", "pressure where it is lost"),
    real("descent_min", "min", "from the interface until it is lost"),
    text("lost", "what it is lost by: end, pressure, heat, battery, ground; skip where it leaves again"),
    real("relay_min", "min", "how long the mothership hears it", gaps=True),
    real("relay_range_min_km", "km", "least range while it does", gaps=True),
    real("relay_mbit", "Mbit", "what it hears; missing where its way past is not known", gaps=True),
    real("relay_db", "dB", "that link: bit/s at 1 km"),
    real("relay_begin_jd_tdb", "JD TDB", "from when the mothership hears it", gaps=True),
    real("relay_end_jd_tdb", "JD TDB", "until when", gaps=True),
    real("direct_min", "min", "how long a station on Earth hears it"),
    real("direct_mbit", "Mbit", "what it hears"),
    real("direct_db", "dB", "that link: bit/s at 1 km"),
    real("interface_km", "km", "height of the interface over the ellipsoid"),
    real("bar_full", "bar", "pressure that is full depth"),
    real("ephemeris_sigma_km", "km", "1 sigma of the place of the body"),
    real("b_t_km", "km", "aim point along T of the B-plane"),
    real("b_r_km", "km", "aim point along R"),
    *vector("entry_", "km", "place at the interface from the body's centre", suffix="_km"),
    *vector("entry_v", "km/s", "velocity there", suffix="_km_s"),
    real("parting_km_s", "km/s", "speed of mothership and probe relative to each other at the interface"),
    Column(
        "corridor_edges_deg", _LISTS, "deg", "shallow and steep edge in thin, mean and thick air, 6 by rows"
    ),
    Column("by_burn", _LISTS, "s, -", "d(B.T, B.R) by place and velocity at the burn, 12 by rows"),
    Column("corrections_before_s", _LISTS, "s", "dates of corrections before the interface"),
    Column("by_corrections", _LISTS, "s, -", "d(B.T, B.R) by place and velocity at each, 12 by rows"),
    *vector("aimed_", "m/s", "velocity that the mothership gives the probe where it steers", suffix="_m_s"),
    real("carrier_out_m_s", "m/s", "what the mothership burns to aim; 0 where the probe steers"),
    real("carrier_back_m_s", "m/s", "what it burns to be back on its own path, and in time"),
    real("impact_course_days", "d", "so long it is on the probe's way in"),
    *vector("ship_", "km", "the mothership at the burn, heliocentric", suffix="_km"),
    *vector("ship_v", "km/s", "its velocity there", suffix="_km_s"),
    *vector("ship_release_", "km", "the mothership at the release, heliocentric", suffix="_km"),
)

PROFILE_COLUMNS = (
    whole("opportunity", "number of the opportunity"),
    real("time_s", "s", "after the interface"),
    real("altitude_km", "km", "height over the ellipsoid"),
    real("latitude_deg", "deg", "latitude, planetocentric"),
    real("longitude_e_deg", "deg", "longitude, east"),
    real("speed_km_s", "km/s", "speed against the turning air"),
    real("pressure_bar", "bar", "pressure of the air"),
    real("decel_g", "g", "deceleration"),
    real(
        "flux_w_cm2",
        "W/cm^2",
        "heat flux at the nose, cold wall, of convection and what is known of radiation",
    ),
    real("load_j_cm2", "J/cm^2", "heat load so far"),
    real("relay_elevation_deg", "deg", "mothership over the local horizon", gaps=True),
    real("relay_range_km", "km", "its distance", gaps=True),
    real("relay_bit_s", "bit/s", "rate at which it hears the probe; 0 where it does not"),
    real("direct_bit_s", "bit/s", "rate at which a station on Earth hears it"),
)

ENTRY_TABLES = (
    Table(
        "entries",
        "screen",
        "a probe that enters an atmosphere, as flown down; only where there are any",
        ENTRY_COLUMNS,
        widens="opportunities",
    ),
)
PROFILE_TABLES = (
    Table(
        "profiles",
        "optimize",
        "a moment on the way down of an entry that some plan of the front has; only where there are any",
        PROFILE_COLUMNS,
        beside="plans",
    ),
)
