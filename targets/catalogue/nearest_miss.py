"""Which bodies a row can be served by at all, and which comes nearest where none can."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from targets.catalogue.bodies import Catalogue, Floats
from targets.catalogue.worth import (
    BODY_KEYS,
    albedos,
    body_matches,
    class_chances,
    diameters,
    spin_periods_h,
    taxonomy_chances,
    why_not,
)

_QUANTITIES: dict[str, Callable[[Catalogue], Floats]] = {
    "diameter_km": lambda bodies: diameters(bodies)[0],
    "albedo": albedos,
    "h_mag": lambda bodies: bodies.h_mag,
    "spin_period_h": spin_periods_h,
    "u": lambda bodies: bodies.u_code.astype(float),
}


def can_serve(bodies: Catalogue, where: Any) -> NDArray[np.bool_]:
    """Return (n,) whether each body satisfies what a row's `where` asks, with any chance of its classes."""
    return body_matches(bodies, where) & (taxonomy_chances(bodies, where.taxonomy) > 0.0)


def nearest_miss(bodies: Catalogue, where: Any) -> str:
    """Return the body that lacks the fewest of what `where` asks, with what it lacks: "17: diameter_km_min = 9, ...".

    Of bodies that lack equally many, the one whose value is closest to the first limit missed by all of them.
    `bodies` holds one or more, none of which `can_serve`.
    """
    asked = {key: getattr(where, key) for key in BODY_KEYS if getattr(where, key) is not None}
    missed = {key: ~body_matches(bodies, _alone(key, value, where)) for key, value in asked.items()}
    missed["taxonomy"] = taxonomy_chances(bodies, where.taxonomy) <= 0.0
    lacking = np.sum(list(missed.values()), axis=0)
    nearest = np.flatnonzero(lacking == lacking.min())
    for key, value in asked.items():
        stem = key.removesuffix("_min").removesuffix("_max")
        if stem in _QUANTITIES and missed[key][nearest].all():
            distance = np.abs(_QUANTITIES[stem](bodies)[nearest] - value)
            nearest = nearest[np.argsort(np.where(np.isfinite(distance), distance, np.inf), kind="stable")]
            break
    body = bodies.take(nearest[:1])
    told = why_not(body, where)
    if missed["taxonomy"][nearest[0]]:
        labels, chances = class_chances(body)
        told.append(f"taxonomy = {', '.join(where.taxonomy)}, the body: {labels[int(chances[0].argmax())]}")
    return f"{body.target[0]}: {'; '.join(told)}"


def _alone(key: str, value: Any, where: Any) -> dict[str, Any]:
    """One key of a `where`; a least chance is of the classes beside it."""
    return {key: value} | ({"taxonomy": where.taxonomy} if key == "taxonomy_chance_min" else {})
