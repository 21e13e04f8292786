"""Why a screen came out empty: the limit that removed the last candidate, and what is odd about it."""

from __future__ import annotations

import math

from swarm.study.schema import Study, burn_limit_note
from targets.base.errors import NothingFeasible


def nothing_found(study: Study, counts: dict[str, float]) -> NothingFeasible:
    """Why nothing is in reach: a burn limit that can hardly be meant is said before what follows from it."""
    said = _emptied(study, counts)
    odd = burn_limit_note(study)
    if odd is None or counts["bodies"] == 0:
        return said
    return NothingFeasible(f"{odd}\n  so {said.what}", limit=said.limit)


def _emptied(study: Study, counts: dict[str, float]) -> NothingFeasible:
    # of several designs the one that reaches farthest is told
    limit_m_s = max(own.probe.burn_limit_m_s for own in study.by_design.values())
    if counts["bodies"] == 0:
        return NothingFeasible("the catalogue holds no body", limit="catalogue")
    if counts["bodies_within_reach_bound"] == 0:
        what = f"none of {counts['bodies']} bodies ever comes within the reach of a probe"
        return NothingFeasible(
            what,
            limit=f"probe.burn_limit_m_s = {limit_m_s:g} with search.arc_max_days = {study.search.arc_max_days:g}",
        )
    if not math.isfinite(counts["least_burn_m_s"]):
        return NothingFeasible(
            "bodies come near, but no allowed arc leads to one",
            limit=f"search: arcs of {study.search.arc_min_days:g} to {study.search.arc_max_days:g} days, "
            f"revolutions_max = {study.search.revolutions_max}",
        )
    return NothingFeasible(
        f"{counts['bodies_within_reach_bound']} bodies come near; the smallest burn seen is "
        f"{counts['least_burn_m_s']:.1f} m/s",
        limit=f"probe.burn_limit_m_s = {limit_m_s:g}",
    )
