"""Which keys of the study each stage's tables hang on, beside the tables it needs: declared here and nowhere else.

A key is named as in the file, "probe.count"; a section stands for all its keys, but those named after a minus; a key
of rows or groups is named without the number of the row, "science.rows.weight". A stage may be said to read a key that
changes nothing, never the other way round: what a stage of another run made is taken over where these keys have the
same values. `tests/app/test_what_stages_read.py` changes all the others at once.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from swarm.study.schema import Study

# Which defaults a study leaves as they are: a stage that moves them hangs on that, beside their values.
LEFT = "defaults left"
# What a class of probes says is in the keys it says it of.
_PLANNED = (
    "study", "-study.name", "mothership", "probe", "-probe.class", "designs", "delivery", "knowledge",
    "constraints", "protection", "science", "survival", "margins", "compare",
)  # fmt: skip
READS: dict[str, tuple[str, ...]] = {
    "screen": (
        "study.start", "study.end", "catalogue", "mothership", "-mothership.mass_kg", "search",
        "probe.burn_limit_m_s", "probe.checkout_days", "designs", "massive", "approach",
    ),
    "judge": (
        "study.start", "study.end", "study.seed", "delivery", "knowledge", "margins", "survival",
        "-survival.shared_fraction", "constraints.sun_earth_probe_min_deg", "science.rows.where",
        "science.rows.quality_min", "probe", "-probe.class", "-probe.count", "-probe.dispenser_kg",
        "-probe.loose_part_kg", "-probe.loose_part_m_s", "-probe.loose_part_area_m2", "-probe.solar_area_m2",
        "-probe.reflectivity", "designs",
    ),
    "optimize": (
        *_PLANNED, "-compare.counts", "-compare.seeds", "search", "observing", "optimize", LEFT,
    ),
    "compare": (*_PLANNED, "optimize"),
    "account": (*_PLANNED, "launch", "cost", "stations"),
    "sensitivity": (
        *_PLANNED, "-compare.counts", "-compare.seeds", "search", "optimize", "catalogue", "sensitivity", LEFT,
    ),
    "refine": (*_PLANNED, "-compare.counts", "-compare.seeds", "refine", "massive", "approach"),
}  # fmt: skip


def values_of(study: Study) -> dict[str, Any]:
    """Every value of a study by its key; of rows, legs and groups a list, one value each."""
    from swarm.study.ranges import defaults_of  # here: a command's name alone must not load compiled code

    values = dict(_flat("", study.model_dump(mode="json", by_alias=True)))
    return values | {LEFT: [default.key for default in defaults_of(study)]}


def values_read(study: Study, reads: Sequence[str]) -> dict[str, Any]:
    """The values that a stage with these `reads` hangs on."""
    return {key: value for key, value in values_of(study).items() if is_read(key, reads)}


def is_read(key: str, reads: Sequence[str]) -> bool:
    """Whether a key is among those declared."""
    parts = key.split(".")
    places = {".".join(parts[:k]) for k in range(1, len(parts) + 1)}
    return not places.isdisjoint(reads) and places.isdisjoint(
        read[1:] for read in reads if read.startswith("-")
    )


def _flat(place: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(f"{place}.{key}" if place else key, inner)
    elif isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
        rows = [dict(_flat("", item)) for item in value]
        for key in dict.fromkeys(key for row in rows for key in row):
            yield f"{place}.{key}", [row.get(key) for row in rows]
    else:
        yield place, value
