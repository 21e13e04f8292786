"""How many bodies are reached: two laws worked out without the screen."""

from __future__ import annotations

import numpy as np
import pytest

from swarm.reach.arcs.transition import position_by_velocity
from swarm.reach.mothership.path import Path
from swarm.reach.opportunities import burn_slots, read_mothership, screen
from swarm.reach.screen.approaches import MothershipLeg, find_approaches
from swarm.reach.screen.minima import ArcLimits, find_minima
from swarm.reach.screen.reach_bound import reach_bound
from swarm.run.workers import Pool
from swarm.study.schema import study_from
from targets.base.constants import AU_KM, DAY_S
from targets.catalogue.bodies import Catalogue
from targets.catalogue.invented import invented_belt
from targets.ephemeris.planets import BODIES, sample_planets
from targets.motion.perturbed import prepare
from targets.motion.twobody import drift_states


def test_straight_lines_through_a_uniform_cloud() -> None:
    """N = n pi (dv t)^2 v_rel T within 3 sqrt N: force-free motion, one arc length t.

    Two thousand au out the Sun bends nothing in three years, so the real machinery flies straight lines.
    """
    rng = np.random.default_rng(12)
    dv, v_rel, arc_s, span_s = 0.15, 5.0, 100.0 * DAY_S, 1000.0 * DAY_S
    slot_s = 2.0 * DAY_S
    here = np.array([2000.0 * AU_KM, 0.0, 0.0])
    ship_v = np.array([0.5, 3.0, 0.2])
    along = np.array([0.0, 0.6, 0.8])
    width, length = 2.2e7, v_rel * (span_s + 3.0 * arc_s)
    count = 40_000
    density = count / (width**2 * length)
    # a box of bodies that flows past the mothership: its axis is the relative velocity
    e1 = np.array([1.0, 0.0, 0.0])
    e2 = np.cross(along, e1)
    offsets = (
        rng.uniform(-0.5, 0.5, (count, 1)) * width * e1
        + rng.uniform(-0.5, 0.5, (count, 1)) * width * e2
        - rng.uniform(-0.1, 0.9, (count, 1)) * length * along
    )
    states = np.hstack([here + offsets, np.broadcast_to(ship_v + v_rel * along, (count, 3))])
    end_s = span_s + 1.2 * arc_s
    planets = sample_planets(0.0, end_s + 5.0 * DAY_S).without(*(name for _, name, _ in BODIES))
    epochs = np.arange(0.0, end_s + DAY_S, DAY_S)
    ship = np.hstack(drift_states(np.tile(here, (len(epochs), 1)), np.tile(ship_v, (len(epochs), 1)), epochs))
    path = Path(0.0, DAY_S, ship, pulled=False)
    burns = np.arange(0.0, span_s, slot_s)
    limits = ArcLimits(dv, arc_s - slot_s, arc_s, 0, False)
    bound = reach_bound(
        path, burns, burn_limit_km_s=dv, arc_min_s=limits.arc_min_s, arc_max_s=limits.arc_max_s
    )
    leg = MothershipLeg(0, path, bound, np.arange(len(burns)))
    prepared = prepare(states, start_tdb_s=0.0, end_tdb_s=end_s, planets=planets)
    approaches = find_approaches(prepared, (leg,))[0]
    minima = find_minima(prepared, approaches, leg, limits=limits, planets=planets)
    found = len(np.unique(approaches.body[minima.rows[:, 0].astype(int)]))
    # arcs of t - slot to t: the disc's mean square radius is that of t - slot/2 to 1e-4
    expected = density * np.pi * (dv * (arc_s - 0.5 * slot_s)) ** 2 * v_rel * span_s
    # and the largest disc, pi (dv t)^2, is what a body sees on its way through the last days' arcs: between the two
    assert 300 < expected < 2000
    assert abs(found - expected) < 3.0 * np.sqrt(expected)


def union_area_km2(reach: np.ndarray, direction: np.ndarray) -> float:
    """Area of the union of the ellipses that (s, 3, 3) displacement blocks throw on the plane across `direction`."""
    side = np.cross(direction, [0.3, 0.5, 0.8])
    side /= np.linalg.norm(side)
    plane = np.stack([side, np.cross(direction, side)])
    thrown = plane @ reach  # (s, 2, 3)
    inverse = np.linalg.inv(thrown @ np.swapaxes(thrown, 1, 2))
    angle = np.linspace(0.0, np.pi, 61)[:-1]
    unit = np.stack([np.cos(angle), np.sin(angle)])
    radius2 = 1.0 / np.einsum("ia,sij,ja->sa", unit, inverse, unit)
    return float(np.pi * radius2.max(axis=0).mean())


def test_in_a_belt_the_disc_becomes_the_union_of_ellipses() -> None:
    """N = integral of n A v_rel dt within 20 %: A the union over arcs of dv P_B Phi_rv, density and speeds sampled.

    Density and relative velocities along the mothership's path come from another draw of the same belt.
    """
    bodies, dv = 300_000, 0.25
    study = study_from(
        {
            "study": {"name": "law", "start": 2461000.5, "end": 2461000.5 + 1000.0},
            "catalogue": {"format": "invented", "bodies": bodies, "seed": 5},
            "mothership": {
                "kind": "elements", "epoch": 2461000.5, "a_au": 2.5, "e": 0.08, "i_deg": 3.0, "node_deg": 40.0,
                "argp_deg": 70.0, "mean_anomaly_deg": 10.0, "motion": "kepler",
            },
            "probe": {"count": 4, "wet_mass_kg": 12.0, "burn_limit_m_s": 1e3 * dv},
            "search": {"arc_min_days": 30.0, "arc_max_days": 500.0, "slot_days": 20.0},
            "science": {"rows": [{"name": "any"}]},
        }
    )  # fmt: skip
    found = screen(study, invented_belt(bodies, 5), pool=Pool())
    reached = len(found.targets)  # in 1000 days hardly a body passes twice

    path, burns = read_mothership(study).legs[0], burn_slots(study)
    sample: Catalogue = invented_belt(bodies, 77)
    epochs, r, v = sample.states()
    radius_km, step_s = 0.12 * AU_KM, 20.0 * DAY_S
    expected = 0.0
    for t in np.arange(burns[0] + 30.0 * DAY_S, path.epochs_tdb_s[-1], step_s):
        rt, vt = drift_states(r, v, t - epochs)
        ship = path.at(t)[0]
        near = np.linalg.norm(rt - ship[:3], axis=1) < radius_km
        arcs = t - burns
        slots = (arcs >= 30.0 * DAY_S) & (arcs <= 500.0 * DAY_S)
        reach = dv * position_by_velocity(path.at(burns[slots]), arcs[slots])
        relative = ship[3:] - vt[near]
        speed = np.linalg.norm(relative, axis=1)
        areas = np.array([union_area_km2(reach, w / s) for w, s in zip(relative, speed, strict=True)])
        expected += step_s * float((areas * speed).sum()) / (4.0 / 3.0 * np.pi * radius_km**3)
    assert expected > 300.0
    assert reached == pytest.approx(expected, rel=0.2)
