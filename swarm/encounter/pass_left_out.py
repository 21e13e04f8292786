"""What became of every pass that was asked for: none is left out without a code, a count and a word."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from swarm.reach.approach.field import OK
from swarm.reach.approach.rows import LATE
from swarm.reach.approach.shoot import REASONS
from swarm.study.schema import Study
from targets.base.errors import NothingFeasible

if TYPE_CHECKING:
    from swarm.encounter.pass_judging import JudgedPasses

# Code of each reason, in the order in which it applies, and what it says after a number of rows.
EARLY, DIVERT, BURN, TANK = "before_the_path", "divert_too_late", "burn_limit", "mothership_tank"
IMPACT, SHIP, AFTER = "impact_limit", "mothership_impact_limit", "after_study_end"
_SHOTS = ("", "too_many_steps", "outside_dates", "not_near_in_time", "hits_first", "not_converged", "bound")
SAID = {
    EARLY: "would be released before the path that leads here begins",
    "inside_the_sphere": LATE,
    **dict(zip(_SHOTS[1:], REASONS[1:], strict=True)),
    DIVERT: "would have the mothership divert after it has arrived (approach.divert_after_days)",
    TANK: "need more than mothership.propellant_kg",
    BURN: "need more than probe.burn_limit_m_s",
    IMPACT: "over the limit on impacts",
    SHIP: "over the limit on impacts by the mothership's chance alone (mothership.divert_failure)",
    AFTER: "are met after study.end",
}
# of these the reason is a sentence of its own
_TOLD_APART = set(_SHOTS)


def of_shots(early: int, late: int, statuses: Iterable[int]) -> dict[str, int]:
    """Counts by code of rows that no burn was found for."""
    missed = Counter(int(status) for status in statuses if status != OK)
    counts = {EARLY: early, "inside_the_sphere": late}
    counts |= {code: missed[k] for k, code in enumerate(_SHOTS) if k}
    return counts


def over_limits(judged: Sequence[JudgedPasses]) -> dict[str, int]:
    """Counts by code of rows over the limit on impacts: by the probe's chance, or only with the mothership's."""
    own = sum(int((~each.probe_keeps).sum()) for each in judged)
    together = sum(int((~each.within_limits).sum()) for each in judged)
    return {IMPACT: own, SHIP: together - own}


def sentences(counts: dict[str, int]) -> list[str]:
    """What became of the rows that are not there, in order."""
    return [
        f"{counts[code]}: {said}" if code in _TOLD_APART else f"{counts[code]} {said}"
        for code, said in SAID.items()
        if counts.get(code)
    ]


def added(parts: Sequence[dict[str, int]]) -> dict[str, int]:
    """The counts of several approaches, designs or passages together."""
    return {code: total for code in SAID if (total := sum(part.get(code, 0) for part in parts))}


def leaves_nothing(name: str, why: NothingFeasible) -> str:
    """What is said of an approach of which nothing can be flown, where something else can."""
    return f"{name}: {why.what}: this approach leaves nothing; {why.limit}"


def none_of_passes(study: Study, counts: dict[str, float]) -> NothingFeasible:
    """Why no low pass is left, from the counts of a screen (those of SAID among them)."""
    burns = " and ".join(f"{alone.probe.burn_limit_m_s:g}" for alone in study.by_design.values())
    asked = f"{counts['passes_asked']:.0f} passes asked for, {counts['passes_met']:.0f} are met by some burn"
    left = "; ".join(sentences({code: int(counts.get(code, 0)) for code in SAID}))
    if not counts["passes_met"]:
        return NothingFeasible(
            asked, limit=f"approach.release_days_before, altitudes_km: no burn was found: {left}"
        )
    if counts.get(TANK) and not counts["minima_within_burn_limit"]:
        tank = f"mothership.propellant_kg = {study.mothership.propellant_kg:g}"
        return NothingFeasible(f"{asked}; the least takes {counts['least_carrier_kg']:.3g} kg", limit=tank)
    if counts.get(BURN) and counts["least_burn_m_s"] > max(
        alone.probe.burn_limit_m_s for alone in study.by_design.values()
    ):
        least = f"the least takes {counts['least_burn_m_s']:.1f} m/s"
        return NothingFeasible(f"{asked}; {least}", limit=f"probe.burn_limit_m_s = {burns}")
    if not counts.get(IMPACT) and not counts.get(SHIP):
        return NothingFeasible(f"{asked}, none within the study", limit=left)
    ship = study.mothership.divert_failure
    steered = study.protection.carrier_included and any(ask.steer != "probe" for ask in study.approach)
    whose = f" with the mothership's (divert_failure = {ship:g})" if steered else ""
    whose += later_said(study, counts["least_later_chance"])
    heights = max(height for ask in study.approach for height in ask.altitudes_km)
    return NothingFeasible(
        f"{asked}, none of which keeps the limit on impacts",
        limit="impact chance (protection.impact_chance_max or approach.impact_chance_max); the least found is "
        f"{counts['least_impact_chance']:.2g}{whose}, with altitudes_km up to {heights:g} and "
        f"probe.burn_limit_m_s = {burns}; "
        f"{_height_that_would_do(counts['lowest_for_limit_km'])}",
    )


def life_said(study: Study, body: str) -> str:
    """The caution for a body that may harbour life."""
    years = study.protection.bound_years
    counted = f"and counts so for {years:g} years (later_impact_chance; protection.bound_years)"
    if not years:
        counted = "which the study does not count (protection.bound_years = 0: disposal is planned elsewhere)"
    return (
        f"{body} may harbour life; disposal is not planned here: what stays bound to the planet may meet it again, "
        f"{counted}"
    )


def later_said(study: Study, chance: float) -> str:
    """ "", or what of a chance is that a probe which stays bound to the planet comes back to the moon."""
    if not 0.0 < chance < math.inf:
        return ""
    years = study.protection.bound_years
    return (
        f", {chance:.2g} of it at least since probes stay bound to the planet and come back within {years:g} years "
        "(protection.bound_years; 0 where their disposal is planned)"
    )


def _height_that_would_do(least_km: float) -> str:
    if math.isinf(least_km):
        return "no height keeps it with these errors and chances of failure"
    return f"the least height that keeps it is {least_km:.1f} km"
