"""What each mothership comes to where no probe flies longer than so many days: the map of a choice."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.app.carriers.joining import OfCarrier
from swarm.app.carriers.listed import Searched
from swarm.study.schema import Study

Floats = NDArray[np.float64]

# Steps of the longest flight, evenly up to search.arc_max_days: own choice, a row of the map each.
STEPS = 6


def choice_map(study: Study, done: Sequence[Searched], flown: Sequence[OfCarrier]) -> pa.Table:
    """The table `choice_map`: a row a mothership that was searched and a longest flight.

    Science is that of the best of its plans all of whose flights are that short: what is known to be there, not a
    bound. A plan without a probe counts as science 0.
    """
    steps_days = study.search.arc_max_days * np.arange(1, STEPS + 1) / STEPS
    runs = {each.carrier.number: each.run for each in done if each.run is not None}
    rows = []
    for own in flown:
        table = runs[own.number].read_table("opportunities")
        rows += [
            {"carrier": own.number, "arc_max_days": float(days), **_within(own, table, days)}
            for days in steps_days
        ]
    whole = ("carrier", "targets")
    return pa.table(
        {
            name: pa.array([row[name] for row in rows], pa.int64() if name in whole else pa.float64())
            for name in ("carrier", "arc_max_days", "targets", "science", "propellant_kg")
        }
    )


def _within(own: OfCarrier, opportunities: pa.Table, days: float) -> dict[str, float]:
    arc_days = opportunities["encounter_jd_tdb"].to_numpy() - opportunities["burn_jd_tdb"].to_numpy()
    short = arc_days <= days
    targets = len(np.unique(opportunities["target_index"].to_numpy()[short]))
    longest = dict(zip(opportunities["opportunity"].to_pylist(), arc_days.tolist(), strict=True))
    of_plan: dict[int, float] = {}
    for plan, row in zip(own.plans["plan"].to_pylist(), own.plans["opportunity"].to_pylist(), strict=True):
        of_plan[plan] = max(of_plan.get(plan, 0.0), longest[row])
    keys = zip(
        own.front["science"].to_pylist(),
        own.front["propellant_kg"].to_pylist(),
        own.front["plan"].to_pylist(),
        strict=True,
    )
    best = max(
        ((science, -kg) for science, kg, plan in keys if of_plan.get(plan, 0.0) <= days), default=(0.0, 0.0)
    )
    return {"targets": targets, "science": best[0], "propellant_kg": own.charged_kg - best[1]}
