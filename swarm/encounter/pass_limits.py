"""How low the passes of an approach may be for a limit on impacts: asked for lower, a pass is refused with the number.

What a delivery is like hangs on the height a little (2 km of the least height over 200 km of height asked for, at a
Galilean moon): the number is that of a pass flown at it, not of the nearest one that was asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.pass_judging import JudgedPasses, PassRules, judge_passes
from swarm.reach.approach.rows import Asked, LowPasses, covered_s, shot
from swarm.study.sections.approach import ApproachSettings

if TYPE_CHECKING:
    from swarm.study.schema import Study

# The number is found to that: a tenth of what is printed of it.
_WITHIN_KM, _FLIGHTS = 0.01, 8


@dataclass(frozen=True, eq=False)
class FlownRows:
    """Rows of a passage by one design (study of it alone), flown and judged.

    able : (k,) which of the judged may be flown but for the limit on impacts
    """

    study: Study
    rules: PassRules
    rows: LowPasses
    judged: JudgedPasses
    able: NDArray[np.bool_]


@dataclass(frozen=True)
class LowestPass:
    """What a limit on impacts leaves of the heights of an approach.

    least_km   : least height, over all releases and clock angles asked for, that keeps the limit; infinite where none
                 does: a probe on the mothership's own path, or a dead one, hits too often
    refused_km : heights asked for at which no row keeps it
    """

    approach: str
    body: str
    limit: float
    least_km: float
    refused_km: tuple[float, ...]

    @property
    def least(self) -> str:
        """The number in words."""
        if np.isinf(self.least_km):
            return f"no height at {self.body} keeps it with these errors and chances of failure ({self.approach})"
        return f"the least height at {self.body} that keeps it is {self.least_km:.1f} km ({self.approach})"

    @property
    def caution(self) -> str:
        """What is said of the heights that are refused."""
        heights = ", ".join(f"{height:g}" for height in self.refused_km)
        return (
            f"{self.approach}: passes of {self.body} at {heights} km are refused: a probe may hit it with a chance of "
            f"at most {self.limit:.3g}; {self.least}"
        )


def lowest_pass(ask: ApproachSettings, limit: float | None, flown: Sequence[FlownRows]) -> LowestPass | None:
    """What a limit leaves of an approach; None without one, and where no pass may be flown."""
    own = [each for each in flown if each.able.any()]
    if limit is None or not own:
        return None
    heights = np.concatenate([each.rows.altitude_km[each.judged.rows[each.able]] for each in own])
    kept = np.concatenate([each.judged.within_limits[each.able] for each in own])
    refused = tuple(float(height) for height in np.unique(heights) if not kept[heights == height].any())
    least = min(_least_km(each) for each in own)
    return LowestPass(ask.name, ask.body, limit, least, refused)


def _least_km(flown: FlownRows) -> float:
    """The least height of one passage and design: of each release and clock angle the row nearest its own number."""
    judged = flown.judged
    least, rows = judged.lowest_altitude_for_limit_km, judged.rows
    ways: dict[tuple[float, float], int] = {}
    for k in np.flatnonzero(flown.able & np.isfinite(least)).tolist():
        way = float(flown.rows.release_s[rows[k]]), float(flown.rows.clock_deg[rows[k]])
        if way not in ways or _off(flown, k) < _off(flown, ways[way]):
            ways[way] = k
    if not ways:
        return float("inf")
    return _settled_km(flown, min(ways.values(), key=lambda k: float(least[k])))


def _off(flown: FlownRows, k: int) -> float:
    judged = flown.judged
    return abs(float(judged.lowest_altitude_for_limit_km[k] - flown.rows.altitude_km[judged.rows[k]]))


def _settled_km(flown: FlownRows, k: int) -> float:
    """Fly a row at its own least height until that is the height it is flown at."""
    row = int(flown.judged.rows[k])
    asked = Asked(**{each.name: getattr(flown.rows, each.name) for each in fields(Asked)})
    one = asked.take(slice(row, row + 1))
    height = float(flown.judged.lowest_altitude_for_limit_km[k])
    for _ in range(_FLIGHTS):
        lower = replace(one, altitude_km=np.array([height]))
        judged = judge_passes(flown.study, shot(lower, flown.rows.field, covered_s(lower)), flown.rules)
        if not len(judged.rows):
            return height
        found = float(judged.lowest_altitude_for_limit_km[0])
        if abs(found - height) < _WITHIN_KM:
            break
        height = found
    return height
