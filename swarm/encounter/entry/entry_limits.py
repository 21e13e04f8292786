"""What limits the entries that are asked for: the least angle, the latest release, how many the mothership can hear."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.entry.entry_judging import JudgedEntries
from swarm.encounter.entry.relay import overlaps
from swarm.reach.approach.entry_rows import EntryRows
from swarm.reach.approach.field import OK
from targets.base.constants import DAY_S

Floats = NDArray[np.float64]
Names = NDArray[np.object_]

# A row that is inside with less than this is not counted as being in the corridor: own choice.
IN_CORRIDOR = 0.5
# Why a row is not among those that can be flown, beside what limits an entry.
_DEAR, _NOT_MET = "burn_limit_m_s", "no burn that was found"
_SAYS = {
    "skip": "skipping out of the atmosphere",
    "load": "heat load",
    "g": "deceleration",
    "flux": "heat flux",
    "tank": "what is left in the tank for corrections",
}


@dataclass(frozen=True, eq=False)
class SeenEntries:
    """n rows that were asked for, of one design at one passage.

    why : "" where it is in the corridor for a burn within the limit
    begin_s, end_s : between which the mothership hears it; NaN where it does not, or is not in the corridor
    """

    days: Floats
    angle_deg: Floats
    why: Names
    burn_m_s: Floats
    shallow_deg: Floats
    sigma_deg: Floats
    begin_s: Floats
    end_s: Floats

    @property
    def good(self) -> NDArray[np.int64]:
        return np.flatnonzero(self.why == "")


def seen_entries(rows: EntryRows, judged: JudgedEntries, burn_limit_m_s: float) -> SeenEntries:
    """What became of the rows of one table of shots; those judged may be fewer."""
    n = len(rows.burn_s)
    burn = 1e3 * np.linalg.norm(rows.shots.burn_km_s, axis=1)
    met = rows.shots.status == OK
    why = np.full(n, _NOT_MET, dtype=object)
    why[met] = _DEAR
    inside = judged.worth.corridor_chance >= IN_CORRIDOR
    cheap = burn[judged.rows] <= burn_limit_m_s
    why[judged.rows[cheap]] = np.where(inside, "", judged.worth.limited_by)[cheap]
    held: dict[str, Floats] = {}
    for name, values in (
        ("shallow_deg", judged.flown.corridor_shallow_deg), ("sigma_deg", judged.worth.angle_sigma_deg),
        ("begin_s", judged.flown.relay_begin_s), ("end_s", judged.flown.relay_end_s),
    ):  # fmt: skip
        held[name] = np.full(n, np.nan)
        held[name][judged.rows] = values
    days = (rows.passage.closest_tdb_s - rows.release_s) / DAY_S
    return SeenEntries(days, rows.angle_deg, why, burn, **held)


def joined_entries(parts: Sequence[SeenEntries]) -> SeenEntries:
    """Rows one after the other."""
    return SeenEntries(
        *(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(SeenEntries))
    )


def limits_of_entries(seen: SeenEntries, *, limit: str, channels: int) -> list[str]:
    """The least angle and the latest release in the corridor, and how many are heard; what limits each.

    Nothing where no row is in the corridor. limit: of the burns, in words (`Setting.dear_at`).
    """
    good = seen.good
    if not len(good):
        return []
    least, soonest = good[np.argmin(seen.angle_deg[good])], good[np.argmin(seen.days[good])]
    shallower = seen.why[seen.angle_deg < seen.angle_deg[least]]
    later = seen.why[seen.days < seen.days[soonest] - 1e-6]
    return [
        f"least angle in the corridor: {seen.angle_deg[least]:g} deg; its shallow edge is "
        f"{seen.shallow_deg[least]:.2f} deg, 1 sigma of its angle {seen.sigma_deg[least]:.2g} deg; "
        f"{_what_limits(shallower, 'shallower ones')}",
        f"latest release in the corridor: {seen.days[soonest]:g} d before, for {seen.burn_m_s[soonest]:.3g} m/s of "
        f"{limit}; {_what_limits(later, 'later ones')}",
        _heard_together(seen, channels),
    ]


def _what_limits(names: Names, which: str) -> str:
    """The commonest reason of rows that are not in the corridor."""
    if not len(names):
        return f"{which} are not asked for"
    common = Counter(str(name) for name in names).most_common(1)[0][0]
    return f"{which} are limited by {_SAYS.get(common, common)}"


def _heard_together(seen: SeenEntries, channels: int) -> str:
    """How many of those in the corridor can be heard one after the other; at most so many at one moment."""
    begin, end = seen.begin_s[seen.good], seen.end_s[seen.good]
    heard = np.isfinite(begin)
    if not heard.any():
        return "the mothership hears none of them: it has set, or passes before they are down, or its way is not known"
    most = most_in_turn(begin[heard], end[heard], channels)
    crowded = overlaps(begin, end, channels)
    said = f"at most {most} of these {int(heard.sum())} rows can be heard with relay_channels = {channels}"
    return f"{said}: up to {max(map(len, crowded))} at one moment" if crowded else said


def most_in_turn(begin_s: Floats, end_s: Floats, channels: int) -> int:
    """The most intervals of which no more than `channels` share a moment: by their ends, each to the latest free one.

    Faigle, Nawijn 1995, "Note on scheduling intervals on-line", Discrete Appl. Math. 58:13: the earliest end first.
    """
    free = np.full(channels, -np.inf)
    taken = 0
    for k in np.argsort(end_s, kind="stable"):
        able = np.flatnonzero(free <= begin_s[k])
        if len(able):
            free[able[np.argmax(free[able])]] = end_s[k]
            taken += 1
    return taken
