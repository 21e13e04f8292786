"""How many bodies one expects in reach of a path, from the density about it: for many paths at once.

The law: density x pi (burn limit x arc)^2 x relative speed x length of the period, for free flight. The Sun's pull,
and that a body met twice counts once, are left out: right to a factor of two or so, which is enough to put paths in
order, not to choose between neighbours.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from swarm.study.schema import Study
from targets.base.constants import AU_KM, DAY_S
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.bodies import Catalogue
from targets.motion.twobody import drift_states

Floats = NDArray[np.float64]

LAW_PERIODS = 30
# The law needs a density, not every body: of more than these only every k-th is moved.
LAW_BODIES = 100_000
# Bodies within this of the mothership make the local density (own choice: dozens to thousands in a belt of 10^5).
LAW_RADIUS_AU = 0.25
# From so many paths on a tree of the bodies pays.
_TREE_FROM = 8


def law_edges(study: Study) -> Floats:
    """(periods + 1,) JD TDB: ends of the periods that the law is summed over."""
    return np.linspace(study.study.start_jd_tdb, study.study.end_jd_tdb, LAW_PERIODS + 1)


def law_arc_days(study: Study, first_jd_tdb: float) -> Floats:
    """(periods,) the longest flight that may end in the middle of each, releases from `first_jd_tdb` on; 0 for none."""
    edges = law_edges(study)
    first = first_jd_tdb + farthest(study).probe.checkout_days
    arc_days = np.clip(0.5 * (edges[1:] + edges[:-1]) - first, 0.0, study.search.arc_max_days)
    arc_days[arc_days < study.search.arc_min_days] = 0.0
    return arc_days


def farthest(study: Study) -> Study:
    """Of several designs that which reaches farthest: the law counts a body once."""
    return max(study.by_design.values(), key=lambda own: own.probe.burn_limit_m_s)


def expected_per_period(study: Study, near: Floats, speed_km_s: Floats, arc_days: Floats) -> Floats:
    """(periods,) targets that the law expects, from density (1/au^3), relative speed and longest arc."""
    reach_au = 1e-3 * farthest(study).probe.burn_limit_m_s * arc_days * DAY_S / AU_KM
    swept_au = speed_km_s * DAY_S * np.diff(law_edges(study)) / AU_KM
    return near * np.pi * reach_au**2 * swept_au


def expected_targets(studies: Sequence[Study], catalogue: Catalogue, paths: Sequence[pa.Table]) -> Floats:
    """(n,) targets that the law expects of each study on its mothership's path (table `mothership`).

    The studies share their dates. A period that a path does not cover counts nothing.
    """
    edges = law_edges(studies[0])
    middles = 0.5 * (edges[1:] + edges[:-1])
    near, speed_km_s = around(catalogue, paths, middles)
    totals = []
    for k, (study, path) in enumerate(zip(studies, paths, strict=True)):
        first, last = (path["t_jd_tdb"][row].as_py() for row in (0, path.num_rows - 1))
        arc_days = np.where(middles <= last, law_arc_days(study, first), 0.0)
        totals.append(float(expected_per_period(study, near[k], speed_km_s[k], arc_days).sum()))
    return np.array(totals)


def around(catalogue: Catalogue, paths: Sequence[pa.Table], jd_tdb: Floats) -> tuple[Floats, Floats]:
    """(paths, dates) density about each mothership (1/au^3) and mean relative speed (km/s); 0 where no body is near."""
    step = max(-(-len(catalogue) // LAW_BODIES), 1)
    some = catalogue.take(np.arange(0, len(catalogue), step))
    epochs, r, v = some.states()
    ships = np.array([_states(path, jd_tdb) for path in paths])
    near, speed = np.zeros(ships.shape[:2]), np.zeros(ships.shape[:2])
    volume_au3 = 4.0 / 3.0 * np.pi * LAW_RADIUS_AU**3
    for k, t in enumerate(tdb_s_from_jd(jd_tdb)):
        rt, vt = drift_states(r, v, t - epochs)
        for n, likely in enumerate(_likely(rt, ships[:, k, :3])):
            close = likely[np.linalg.norm(rt[likely] - ships[n, k, :3], axis=1) < LAW_RADIUS_AU * AU_KM]
            near[n, k] = step * len(close) / volume_au3
            if len(close):
                speed[n, k] = np.linalg.norm(vt[close] - ships[n, k, 3:], axis=1).mean()
    return near, speed


def _likely(bodies_km: Floats, ships_km: Floats) -> list[NDArray[np.int64]]:
    """Rows of bodies that may be near each ship, in order; all of them where there are few ships."""
    if len(ships_km) < _TREE_FROM:
        return [np.arange(len(bodies_km))] * len(ships_km)
    finite = np.flatnonzero(np.isfinite(bodies_km).all(axis=1))
    tree = cKDTree(bodies_km[finite])
    found = tree.query_ball_point(ships_km, 1.001 * LAW_RADIUS_AU * AU_KM, return_sorted=True)
    return [finite[np.asarray(rows, dtype=np.int64)] for rows in found]


def _states(path: pa.Table, jd_tdb: Floats) -> Floats:
    t_jd = path["t_jd_tdb"].to_numpy()
    names = ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")
    return np.column_stack([np.interp(jd_tdb, t_jd, path[name].to_numpy()) for name in names])
