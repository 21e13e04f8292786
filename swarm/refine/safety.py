"""Safety of others: recontact and impacts of a plan, as a table and as sentences with their intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pyarrow as pa

from swarm.reach.mothership.path import Path
from swarm.refine.chance import Chance, binomial_interval
from swarm.refine.impacts import impacts_of
from swarm.refine.recontact import recontacts
from swarm.refine.whole_plan import Flown
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


def others_of(study: Study, flown: Sequence[Flown], legs: Sequence[Path], *, pool: Pool) -> list[Chance]:
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


def _of_all(chances: Sequence[Chance], kind: str) -> str:
    """What all objects' samples say together of one kind of impact."""
    of_kind = [one for one in chances if one.kind == kind]
    if not of_kind:
        return ""
    hits, samples = sum(one.hits for one in of_kind), sum(one.samples for one in of_kind)
    low, high = binomial_interval(hits, samples)
    what = "on a planet" if kind == "impact" else "on the Earth"
    worst = max(one.interval[1] for one in of_kind)
    return (
        f"impact {what} within {of_kind[0].years:g} years: {hits} of {samples} samples of {len(of_kind)} objects, "
        f"{low:.2%} to {high:.2%} each on average, no object above {worst:.2%} (95 %, sampled)"
    )
