"""Safety of others: recontact and impacts of a plan, as a table and as sentences with their intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pyarrow as pa

from swarm.reach.mothership.path import Path
from swarm.refine.chance import Chance, binomial_interval
from swarm.refine.impacts import impacts_of
from swarm.refine.recontact import recontacts
from swarm.refine.whole_plan import FlownProbe
from swarm.run.workers import Pool
from swarm.study.schema import Study

_WHAT = {
    "separation": "turns back towards {other} in the first hours",
    "recontact": "comes within the recontact distance of {other}",
    "manoeuvre": "comes within the recontact distance of {other} after a manoeuvre of it",
    "impact": "hits a planet",
    "earth": "hits the Earth",
}
_SCHEMA = pa.schema(
    [
        ("kind", pa.string()),
        ("object", pa.string()),
        ("probe", pa.int64()),
        ("other", pa.string()),
        ("hits", pa.int64()),
        ("samples", pa.int64()),
        ("chance_low", pa.float64()),
        ("chance_high", pa.float64()),
        ("years", pa.float64()),
        ("least_km", pa.float64()),
    ]
)


def others_of(study: Study, flown: Sequence[FlownProbe], legs: Sequence[Path], *, pool: Pool) -> list[Chance]:
    """Return all chances of a plan's probes and loose parts, recontacts first.

    legs : the mothership's ballistic stretches; each but the first begins with a manoeuvre or a flyby
    """
    if not flown:
        return []
    found = pool.map(impacts_of, list(flown), shared=study)
    return recontacts(study, flown, legs) + [chance for group in found for chance in group]


def safety_table(chances: Sequence[Chance]) -> pa.Table:
    """Return a row a chance, with its interval."""
    rows = [
        {
            "kind": one.kind,
            "object": one.name,
            "probe": one.probe,
            "other": one.other,
            "hits": one.hits,
            "samples": one.samples,
            "chance_low": one.interval[0],
            "chance_high": one.interval[1],
            "years": one.years,
            "least_km": one.least_km if math.isfinite(one.least_km) else None,
        }
        for one in chances
    ]
    return pa.Table.from_pylist(rows, schema=_SCHEMA)


def cautions(chances: Sequence[Chance]) -> list[str]:
    """Sentences: what happened in a sample, and what the count of samples can and cannot tell."""
    said = []
    for one in chances:
        if one.hits:
            low, high = one.interval
            what = _WHAT[one.kind].format(other=one.other)
            said.append(f"{one.name} {what} in {one.hits} of {one.samples} samples ({low:.2%} to {high:.2%})")
    return said + [text for kind in ("impact", "earth") if (text := _of_all(chances, kind))]


# A chance of an impact that matters to those who must allow the flight: 1 in 1 000 an object. Own choice.
CHANCE_OF_INTEREST = 1e-3


def _of_all(chances: Sequence[Chance], kind: str) -> str:
    """What is known of each object of one kind of impact, then of all together."""
    of_kind = [chance for chance in chances if chance.kind == kind]
    if not of_kind:
        return ""
    what = "on a planet" if kind == "impact" else "on the Earth"
    worst = max(of_kind, key=_upper_end)
    said = [
        f"each object below {worst.interval[1]:.2%} ({worst.name}: {worst.hits} of {worst.samples} samples)"
    ]
    open_ = [chance for chance in of_kind if chance.interval[0] < CHANCE_OF_INTEREST < chance.interval[1]]
    if open_:
        said.append(
            f"too few samples to say whether {len(open_)} of {len(of_kind)} objects stay below {CHANCE_OF_INTEREST:.1%}"
        )
    hits, samples = sum(chance.hits for chance in of_kind), sum(chance.samples for chance in of_kind)
    low, high = binomial_interval(hits, samples)
    said.append(f"on average {low:.2%} to {high:.2%}, {hits} of {samples} samples")
    return f"impact {what} within {of_kind[0].years:g} years, 95 % intervals: {'; '.join(said)}"


def _upper_end(chance: Chance) -> float:
    return chance.interval[1]
