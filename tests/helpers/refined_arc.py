"""One refined arc of an invented mothership and target: a burn of some tens of m/s, 200 days to the encounter."""

import numpy as np

from swarm.encounter.corrections import AFTER_BURN, plan_corrections, sight_s
from swarm.encounter.error_model import errors_of
from swarm.reach.arcs.bplane import b_plane_axes
from swarm.refine.correct import Arc, Refined
from swarm.refine.dispersion import Known
from swarm.refine.nbody import Field, make_field, moved
from swarm.study.schema import Study, study_from
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.motion.twobody import states_from_elements

RELEASE_S = 983_361_600.0
BURN_S = RELEASE_S + 3.0 * DAY_S
ENCOUNTER_S = BURN_S + 200.0 * DAY_S


def make_study(*, probe=None, delivery=None, refine=None):
    return study_from(
        {
            "study": {"name": "invented", "start": 2462928.5, "end": 2463928.5},
            "catalogue": {"format": "invented", "bodies": 10},
            "mothership": {
                "kind": "elements", "epoch": 2462928.5, "a_au": 1.95, "e": 0.4, "i_deg": 2.0, "node_deg": 40.0,
                "argp_deg": 120.0, "mean_anomaly_deg": 15.0,
            },
            "probe": {"count": 1, "wet_mass_kg": 12.0, "burn_limit_m_s": 300.0} | (probe or {}),
            "delivery": delivery or {},
            "refine": refine or {},
            "science": {"rows": [{"name": "any"}]},
        }
    )  # fmt: skip


def kepler(a_au, e, mean_rad):
    r, v = states_from_elements(
        np.array([a_au * AU_KM]), np.array([e]), *[np.array([x]) for x in (0.04, 0.7, 2.1, mean_rad)],
        mu_km3_s2=GM_SUN_KM3_S2,
    )  # fmt: skip
    return np.hstack([r, v])[0]


def make_forces() -> Field:
    return make_field(RELEASE_S - 700 * DAY_S, ENCOUNTER_S + 500 * DAY_S)


def make_arc(field: Field) -> Arc:
    """The target is put where an unpulled-by-light probe with a 40 m/s burn goes, 3 km/s across; then moved back."""
    mothership = kepler(1.95, 0.4, 0.6)
    there = moved(field, mothership, RELEASE_S, BURN_S)
    burn = 0.04 * np.array([0.6, -0.64, 0.48])
    there[3:] += burn
    end = moved(field, there, BURN_S, ENCOUNTER_S)
    end[3:] += [3.0, -2.0, 1.0]
    start = moved(field, end, ENCOUNTER_S, RELEASE_S - 600 * DAY_S)
    return Arc(
        plan=0, probe=0, opportunity=5, target="X", target_index=0, release_tdb_s=RELEASE_S, burn_tdb_s=BURN_S,
        encounter_tdb_s=ENCOUNTER_S, mothership=mothership, mothership_kg=600.0, burn_km_s=burn,
        target_epoch_s=RELEASE_S - 600 * DAY_S, target_state=start, aim_km=np.array([300.0, -400.0]),
    )  # fmt: skip


def make_known(made: Refined, *, detect_km: float = 4e5, before_km: float = 100.0) -> Known:
    """What a judgement of the default study says: the target known to some tens of km, corrections in sight of it.

    before_km : sigma of the miss before the target is seen
    """
    return Known(
        detect_km=detect_km, corrections=planned(make_study(), made, detect_km, before_km),
        target_cov_km2=np.diag([900.0, 400.0, 2500.0]), spare_km_s=0.05, sight_limit_km_s=0.05,
    )  # fmt: skip


def planned(study: Study, made: Refined, detect_km: float, before_km: float) -> tuple[tuple[float, int], ...]:
    """Dates and kinds as the judgement leaves them: for the encounter as the table has it."""
    axes, speed = b_plane_axes(made.v_rel_km_s)[0], float(np.linalg.norm(made.v_rel_km_s))
    seen_s = sight_s(detect_km, speed, before_km, 20.0 * speed)
    cruise_s = made.encounter_tdb_s - made.arc.burn_tdb_s
    plan = plan_corrections(made.probe, axes, cruise_s, seen_s, errors_of(study), True)
    shift_s = made.encounter_tdb_s - made.arc.encounter_tdb_s
    return tuple(
        (made.encounter_tdb_s - float(before) - (0.0 if kind == AFTER_BURN else shift_s), int(kind))
        for before, kind in zip(plan.before_s[: plan.planned], plan.kind[: plan.planned], strict=True)
    )
