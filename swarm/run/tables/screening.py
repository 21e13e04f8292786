"""Tables of the screen and of judging: bodies in reach, the mothership's path, opportunities and what they come to."""

from __future__ import annotations

import pyarrow as pa

from swarm.run.tables.declaration import CSV, Column, Table, flag, real, text, vector, whole

OPPORTUNITY_COLUMNS = (
    whole("opportunity", "number of the opportunity, from 0"),
    text("target", "catalogue number, else the unpacked principal designation"),
    whole("target_index", "row of the target in `targets`"),
    text("kind", "kind of encounter: flyby, low-pass, orbit, entry"),
    whole("slot", "release slot, counted in search.slot_days from the first"),
    real("release_jd_tdb", "JD TDB", "the probe leaves the mothership"),
    real("burn_jd_tdb", "JD TDB", "main impulse: release and check-out"),
    real("encounter_jd_tdb", "JD TDB", "closest approach"),
    real("burn_tdb_s", "s", "the burn, seconds past J2000 TDB"),
    real("encounter_tdb_s", "s", "the encounter, seconds past J2000 TDB"),
    real("burn_m_s", "m/s", "main impulse without margins: length of the next three"),
    *vector("burn_", "m/s", "main impulse", suffix="_m_s"),
    real("v_rel_km_s", "km/s", "speed of the probe relative to the target: length of the next three"),
    *vector("v_rel_", "km/s", "velocity of the probe relative to the target", suffix="_km_s"),
    real("phase_in_deg", "deg", "angle at the target between the Sun and the incoming probe"),
    real("sun_range_au", "au", "target to Sun at the encounter"),
    real("earth_range_au", "au", "target to Earth at the encounter"),
    real("sun_earth_probe_deg", "deg", "angle at the Earth between Sun and probe at the encounter"),
    real("sun_earth_probe_release_deg", "deg", "the same at the release"),
    real("sun_earth_probe_burn_deg", "deg", "the same at the burn"),
    real("mothership_range_km", "km", "target to mothership at the encounter"),
    *vector("target_", "km", "the target at the encounter, heliocentric", suffix="_km"),
    *vector("target_v", "km/s", "velocity of the target moved by the planets, heliocentric", suffix="_km_s"),
    whole("revolutions", "whole revolutions of the arc"),
    whole("shot", "1 where the burn was corrected in the field of the planets"),
    text(
        "center",
        "planet in whose field the row was flown; only where some row passes a place",
        gaps=True,
        optional=True,
    ),
    text("design", "design of the probe that flies it; only where the study has [[designs]]", optional=True),
    real(
        "impact_chance",
        "-",
        "chance that the probe, working or dead, hits the target; only where some row has one",
        optional=True,
    ),
    real(
        "carrier_impact_chance",
        "-",
        "chance that the mothership hits the target because it did not divert; only where some row has one",
        optional=True,
    ),
    real(
        "later_impact_chance",
        "-",
        "chance that what stays bound to the planet hits the target in protection.bound_years after its pass; only "
        "where some row has one",
        optional=True,
    ),
    real(
        "arrival_offset_s",
        "s",
        "closest approach after the mothership's; only where some row passes a place",
        gaps=True,
        optional=True,
    ),
    text(
        "steer",
        "who puts the probe on its way: probe, carrier, spin; missing is probe; only where some row passes a place",
        gaps=True,
        optional=True,
    ),
    real(
        "carrier_propellant_kg",
        "kg",
        "what the mothership burns to steer for the probe, out and back; only where some row passes a place",
        optional=True,
    ),
)

_BODY_COLUMNS = (
    text("target", "catalogue number, else the unpacked principal designation"),
    text("name", "name, empty where it has none"),
    real("epoch_jd_tdb", "JD TDB", "epoch of the osculating elements"),
    real("a_au", "au", "semi-major axis"),
    real("e", "-", "eccentricity"),
    real("i_deg", "deg", "inclination, ecliptic J2000"),
    real("node_deg", "deg", "longitude of the ascending node"),
    real("argp_deg", "deg", "argument of perihelion"),
    real("mean_anomaly_deg", "deg", "mean anomaly at the epoch"),
    real("h_mag", "mag", "absolute magnitude", gaps=True),
    real("g_slope", "-", "slope of the H,G phase function"),
    real("albedo", "-", "geometric albedo", gaps=True),
    real("diameter_km", "km", "diameter", gaps=True),
    text("taxonomy", "taxonomic class, empty where unknown"),
    whole("u_code", "uncertainty parameter 0 to 9, -1 where unknown", type=pa.int8()),
    flag("visited", "on the study's list of visited bodies"),
    whole("assumed", "bits: which of H (1), slope (2) and U (4) come from a rule", type=pa.uint16()),
    Column("element_sigma", pa.list_(pa.float64()), "au, -, deg", "1 sigma of the six elements", True, True),
    Column(
        "element_covariance", pa.list_(pa.float64()), "au, -, deg", "their covariance, 36 by rows", True, True
    ),
    Column("binary", pa.bool_(), "-", "whether it has a companion", True, True),
    real("spin_period_h", "h", "rotation period", gaps=True, optional=True),
    text("family", "dynamical family", gaps=True, optional=True),
)

_LISTS = pa.list_(pa.float64())
PASS_COLUMNS = (
    whole("opportunity", "number of the opportunity"),
    text("approach", "name of the [[approach]] that asks for it"),
    whole("passage", "passage of the body by the mothership, from 1"),
    real("days_before", "d", "release before the mothership's closest approach"),
    real("clock_deg", "deg", "clock angle of the aim point that is asked for, from T towards R"),
    real("v_inf_km_s", "km/s", "speed at infinity relative to the body"),
    real("periapsis_speed_km_s", "km/s", "speed relative to the body at closest approach"),
    real("altitude_km", "km", "height over the ellipsoid at closest approach"),
    real("latitude_deg", "deg", "latitude below, planetographic"),
    real("longitude_e_deg", "deg", "longitude below, east"),
    real("ground_speed_km_s", "km/s", "speed over the turning ground"),
    real("sun_elevation_deg", "deg", "Sun over the horizon below"),
    real("dwell_s", "s", "time within 100 km of the surface"),
    real("pixel_m", "m", "side of a pixel on the ground, of the finest camera"),
    real("smear_px", "px", "smear of an exposure, tracking included"),
    real(
        "count_sigma", "-", "significance of the disc its counter looks for; missing without one", gaps=True
    ),
    real("b_t_km", "km", "aim point along T of the B-plane"),
    real("b_r_km", "km", "aim point along R"),
    real("sigma_major_km", "km", "larger sigma of the arrival in the B-plane"),
    real("sigma_minor_km", "km", "smaller sigma"),
    real("sigma_altitude_km", "km", "1 sigma of the height flown"),
    real("impact_chance", "-", "chance that the probe, working or dead, hits the body"),
    real(
        "lowest_altitude_for_limit_km",
        "km",
        "least height that keeps the limit on impacts at this clock angle",
        gaps=True,
    ),
    real("ephemeris_sigma_km", "km", "1 sigma of the place of the body"),
    real("lowest_km", "km", "height below which something is hit, or a pass is an entry"),
    real(
        "unburned_t_km", "km", "where a probe that never burns goes, along T; far off where no path is known"
    ),
    real("unburned_r_km", "km", "the same along R"),
    real("parting_km_s", "km/s", "speed of mothership and probe relative to each other at the pass"),
    Column("by_burn", _LISTS, "s, -", "d(B.T, B.R) by place and velocity at the burn, 12 by rows"),
    Column("corrections_before_s", _LISTS, "s", "dates of corrections before closest approach"),
    Column("by_corrections", _LISTS, "s, -", "d(B.T, B.R) by place and velocity at each, 12 by rows"),
    *vector("aimed_", "m/s", "velocity that the mothership gives the probe where it steers", suffix="_m_s"),
    real("carrier_out_m_s", "m/s", "what the mothership burns to aim"),
    real("carrier_back_m_s", "m/s", "what it burns to be back on its own path"),
    real("impact_course_days", "d", "so long it is on the probe's course"),
    *vector("ship_", "km", "the mothership at the burn, heliocentric", suffix="_km"),
    *vector("ship_v", "km/s", "its velocity there", suffix="_km_s"),
    *vector("ship_release_", "km", "the mothership at the release, heliocentric", suffix="_km"),
)
_PLACE_COLUMNS = (
    text("name", "name of a planet or moon"),
    whole("naif_id", "number that SPICE has for it"),
    real("gm_km3_s2", "km^3/s^2", "gravitational parameter"),
    real("radius_km", "km", "equatorial radius"),
    real("lowest_km", "km", "relief, or where an atmosphere begins"),
    text("ephemeris", "what its place rests on"),
    real("ephemeris_error_km", "km", "how far off that may be"),
    flag("approximate", "whether its place is good for a concept only"),
    flag("may_harbour_life", "whether an impact is a concern of planetary protection"),
    real("impact_chance_max", "-", "limit of the study on the chance that anything hits it", gaps=True),
    text("class", "-: it is of no taxonomic class"),
)

TABLES = (
    Table(
        "opportunities",
        "screen",
        "a burn that meets a target: a local minimum of the burn",
        OPPORTUNITY_COLUMNS,
    ),
    Table("targets", "screen", "a body of the catalogue that has opportunities", _BODY_COLUMNS),
    Table(
        "places",
        "screen",
        "a planet or moon that has opportunities: targets behind those of `targets`; only where there are any",
        _PLACE_COLUMNS,
        beside="targets",
    ),
    Table(
        "passes",
        "screen",
        "a low pass, or the arrival of an orbit, as flown in the field about the planet; only where there are any",
        PASS_COLUMNS,
        widens="opportunities",
    ),
    Table(
        "mothership",
        "screen",
        "a node of the mothership's unburned path, heliocentric",
        (
            real("t_jd_tdb", "JD TDB", "epoch"),
            *vector("", "km", "position", suffix="_km"),
            *vector("v", "km/s", "velocity", suffix="_km_s"),
            whole("leg", "ballistic leg, from 0: no arc spans two"),
            real("t_tdb_s", "s", "epoch, seconds past J2000 TDB"),
        ),
    ),
    Table(
        "density",
        "screen",
        "a period: targets met in it, and how many one expects",
        (
            real("from_jd_tdb", "JD TDB", "beginning of the period"),
            real("until_jd_tdb", "JD TDB", "end of the period"),
            whole("found", "targets with an encounter in it"),
            real("expected", "-", "the same from density, reach and speed"),
            real("bodies_per_au3", "1/au^3", "bodies about the mothership"),
            real("v_rel_km_s", "km/s", "their mean relative speed"),
            real("arc_days", "d", "longest arc that may end then"),
        ),
    ),
    Table(
        "rejects",
        "screen",
        "a catalogue row that was not taken, and why",
        (
            whole("line", "line of the file"),
            text("reason", "why"),
            text("text", "what stands there"),
        ),
        form=CSV,
    ),
)

_COVARIANCE = (
    ("delivery", "after all corrections"),
    ("start", "without any"),
    ("before", "before the last one"),
)
JUDGED_COLUMNS = (
    whole("opportunity", "number of the opportunity"),
    real("chance_returned", "-", "chance that its data come home, given that the hardware works"),
    real("chance_quality_*", "-", "P(quality >= the number in the name), given that the hardware works"),
    real("expected_quality", "-", "mean quality over the delivery"),
    real("best_quality", "-", "quality at the best miss"),
    real("seen_chance", "-", "chance that a correction in sight of the target is flown"),
    real(
        "shown_chance",
        "-",
        "chance that the pass shows the target: ten pixels across, in sight, some of it lit",
    ),
    real("chance_low_quality", "-", "chance that it is shown at a quality under a tenth"),
    real("dv99_m_s", "m/s", "99th percentile of the corrections' sum that is planned"),
    real("dv99_needed_m_s", "m/s", "the same if every sample could pay"),
    real(
        "sight_limit_m_s",
        "m/s",
        "most that a sample spends that flies corrections in sight of the target; 0 where none are",
    ),
    real("delivered_chance", "-", "share of the samples that can pay their corrections"),
    real("aim_t_km", "km", "aim point along T of the B-plane"),
    real("aim_r_km", "km", "aim point along R"),
    real("aim_km", "km", "distance of the aim point"),
    *(
        real(f"{which}_cov_{part}_km2", "km^2", f"B-plane covariance {said}, {part.upper()}")
        for which, said in _COVARIANCE
        for part in ("tt", "rr", "tr")
    ),
    real("sigma_time_s", "s", "1 sigma of the time of arrival"),
    real("detect_range_km", "km", "acquisition range of the camera"),
    real("detect_h_before", "h", "time from acquisition to the encounter"),
    real("data_mbit", "Mbit", "data returned"),
    real("downlink_h", "h", "hours of downlink"),
    real("home_days", "d", "from the encounter until the least data are home"),
    flag("relayed", "whether they come by way of the mothership"),
    whole("corrections", "trajectory correction manoeuvres planned", type=pa.int16()),
    whole("reason", "code of what stands against it", type=pa.int8()),
    text("reason_text", "the same in words"),
    real("hardware", "-", "chance that the hardware works"),
    real("propellant_kg", "kg", "main burn, corrections and margins"),
    real("chance_row_*", "-", "chance that it satisfies the science row of that number, everything included"),
)

CORRECTION_COLUMNS = (
    whole("opportunity", "number of the opportunity"),
    whole("correction", "from 0, in order"),
    text(
        "kind",
        "after-burn, before-encounter (by tracking from the ground), in-sight (by images of the target)",
    ),
    real("jd_tdb", "JD TDB", "when it is flown"),
)
JUDGING_TABLES = (
    Table("judged", "judge", "what an opportunity comes to", JUDGED_COLUMNS),
    Table(
        "corrections",
        "judge",
        "a trajectory correction manoeuvre that the judgement planned",
        CORRECTION_COLUMNS,
    ),
)
