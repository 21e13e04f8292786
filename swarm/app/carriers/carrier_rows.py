"""What came of the motherships: a row each of the table `carriers`."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from swarm.app.carriers.by_expectation import Ranked
from swarm.app.carriers.joining import SHARES, OfCarrier, best_of
from swarm.app.carriers.listed import Carrier, NoStudy, Searched
from targets.base.timescale import iso_tdb


def carriers_table(
    order: Sequence[Ranked],
    refused: Sequence[NoStudy],
    done: Sequence[Searched],
    flown: Sequence[OfCarrier],
    front: pa.Table,
) -> pa.Table:
    """The table `carriers`, in the order of listing."""
    levels_kg = np.array(SHARES) * float(front["propellant_kg"].to_numpy().max(initial=0.0))
    searched = {each.carrier.number: each for each in done}
    by_number = {each.number: each for each in flown}
    rows = [
        _row(each, searched.get(each.carrier.number), by_number.get(each.carrier.number), levels_kg, front)
        for each in order
    ]
    rows += [_empty(each.number, each.label, each.changes) | {"note": each.why} for each in refused]
    rows.sort(key=lambda row: row["carrier"])
    types = {"kept": pa.bool_(), "label": pa.string(), "changes": pa.string(), "burns": pa.string(),
             "note": pa.string()}  # fmt: skip
    whole = ("carrier", "rank", "opportunities", "targets", "plans")
    return pa.table(
        {
            name: pa.array(
                [row[name] for row in rows], types.get(name, pa.int64() if name in whole else pa.float64())
            )
            for name in rows[0]
        }
    )


def _empty(number: int, label: str, changes: dict[str, Any]) -> dict[str, Any]:
    nothing: dict[str, Any] = {f"science_at_level_{k}": None for k in range(len(SHARES))}
    return {
        "carrier": number,
        "label": label,
        "changes": json.dumps(changes, sort_keys=True, default=str),
        "expected": 0.0,
        "rank": 0,
        "kept": False,
        "burns": "",
        "burn_m_s": 0.0,
        "propellant_kg": 0.0,
        "opportunities": 0,
        "targets": 0,
        "science_best": None,
        **nothing,
        "propellant_best_kg": None,
        "plans": 0,
        "note": "",
    }


def _row(
    each: Ranked, searched: Searched | None, flown: OfCarrier | None, levels_kg: np.ndarray, front: pa.Table
) -> dict[str, Any]:
    carrier = each.carrier
    row = _empty(carrier.number, carrier.label, carrier.changes)
    row |= {
        "expected": each.expected,
        "rank": each.rank,
        "kept": searched is not None,
        "burns": burns_text(carrier),
        "burn_m_s": carrier.burn_m_s,
        "propellant_kg": carrier.burn_kg,
        "note": each.why,
    }
    if searched is not None and searched.run is None:
        row["note"] = searched.why
    if searched is None or searched.run is None or flown is None:
        return row
    science, kilograms = (flown.front[name].to_numpy() for name in ("science", "propellant_kg"))
    best = int(np.lexsort((kilograms, -science))[0])
    counts = searched.run.manifest["notes"]["survivors"]
    row |= {
        "opportunities": int(counts["opportunities"]),
        "targets": int(counts["targets"]),
        "science_best": float(science[best]),
        "propellant_best_kg": float(kilograms[best]) + flown.charged_kg,
        "plans": int((front["carrier"].to_numpy() == carrier.number).sum()),
    }
    row |= {f"science_at_level_{k}": float(v) for k, v in enumerate(best_of(flown, levels_kg))}
    return row


def burns_text(carrier: Carrier) -> str:
    return "; ".join(
        f"{iso_tdb(burn.date)} {(burn.x_m_s**2 + burn.y_m_s**2 + burn.z_m_s**2) ** 0.5:.3f} m/s"
        + ("" if burn.return_by is None else f", back by {iso_tdb(burn.return_by)}")
        for burn in carrier.study.mothership.burns
    )
