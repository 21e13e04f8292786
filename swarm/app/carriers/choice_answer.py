"""What came of the motherships: a row each, and the answer in plain values."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from swarm.app.carriers.by_expectation import Ranked
from swarm.app.carriers.joining import SHARES, OfCarrier, best_of
from swarm.app.carriers.listed import Carrier, NoStudy, Searched
from swarm.study.schema import Study
from targets.base.timescale import iso_tdb

# A burn is worth flying where it adds this much science within some propellant: less is rounding of a search.
_WORTH = 1e-4


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
    science = flown.front["science"].to_numpy()
    best = int(np.argmax(science))
    counts = searched.run.manifest["notes"]["survivors"]
    row |= {
        "opportunities": int(counts["opportunities"]),
        "targets": int(counts["targets"]),
        "science_best": float(science[best]),
        "propellant_best_kg": float(flown.front["propellant_kg"][best].as_py()) + flown.charged_kg,
        "plans": int((front["carrier"].to_numpy() == carrier.number).sum()),
    }
    row |= {f"science_at_level_{k}": float(v) for k, v in enumerate(best_of(flown, levels_kg))}
    return row


def burns_text(carrier: Carrier) -> str:
    return "; ".join(
        f"{iso_tdb(burn.date)} {(burn.x_m_s**2 + burn.y_m_s**2 + burn.z_m_s**2) ** 0.5:.3f} m/s"
        for burn in carrier.study.mothership.burns
    )


def answer_of(study: Study, table: pa.Table, front: pa.Table) -> dict[str, Any]:
    """The answer as plain values: which mothership, and whether a burn of it is worth it."""
    rows = [row for row in table.to_pylist() if row["science_best"] is not None]
    quiet = [row for row in rows if not row["burns"]]
    best = max(quiet, key=lambda row: (row["science_best"], -row["propellant_best_kg"]))
    worst = min(quiet, key=lambda row: row["science_best"])
    told: dict[str, Any] = {
        "listed": table.num_rows,
        "searched": len(quiet),
        "best": _told(best),
        "worst": _told(worst),
        "on_the_front": [_told(row) for row in rows if row["plans"]],
        "plans": front.num_rows,
    }
    if study.mothership.retarget is not None:
        told["retarget"] = _burn_answer(study, rows, best)
    return told


def _told(row: dict[str, Any]) -> dict[str, Any]:
    keys = ("carrier", "label", "science_best", "propellant_best_kg", "targets", "plans")
    return {key: row[key] for key in keys}


def _burn_answer(study: Study, rows: list[dict[str, Any]], quiet: dict[str, Any]) -> dict[str, Any]:
    """Whether any burn adds science within the same propellant, its own kilograms charged; the zero burn is `quiet`."""
    asked = study.mothership.retarget
    burning = [row for row in rows if row["burns"]]
    told: dict[str, Any] = {
        "compared": len(burning),
        "without": _told(quiet),
        "worth_it": False,
        "budget_m_s": asked.budget_m_s if asked is not None else 0.0,
    }
    if not burning:
        return told

    def gain(row: dict[str, Any]) -> float:
        names = ["science_best", *(f"science_at_level_{k}" for k in range(len(SHARES)))]
        return max(row[name] - quiet[name] for name in names)

    best = max(burning, key=gain)
    told["best"] = _told(best) | {
        "burns": best["burns"], "burn_m_s": best["burn_m_s"], "propellant_kg": best["propellant_kg"],
        "science_gained": gain(best), "science_gained_at_most": best["science_best"] - quiet["science_best"],
        "targets_gained": best["targets"] - quiet["targets"],
    }  # fmt: skip
    told["worth_it"] = gain(best) > _WORTH
    return told


def answer_lines(told: dict[str, Any]) -> list[str]:
    """The answer in sentences."""
    best, worst = told["best"], told["worst"]
    lines = [
        f"{told['listed']} motherships listed, {told['searched']} searched; {told['plans']} plans on the joined front",
        f"best: {best['label']}: science {best['science_best']:.3f} for {best['propellant_best_kg']:.2f} kg, "
        f"{best['targets']} targets in reach",
    ]
    if told["searched"] > 1:
        lines.append(
            f"worst: {worst['label']}: science {worst['science_best']:.3f}, {worst['targets']} targets"
        )
    lines += [f"  on the front: {row['label']}: {row['plans']} plans" for row in told["on_the_front"]]
    if "retarget" in told:
        lines.append(burn_sentence(told["retarget"]))
    return lines


def burn_sentence(told: dict[str, Any]) -> str:
    """Whether a burn of the mothership is worth it, with the numbers."""
    if "best" not in told:
        return f"a burn of the mothership: none of up to {told['budget_m_s']:g} m/s brings anything in; not worth it"
    best = told["best"]
    word = "worth it" if told["worth_it"] else "not worth it"
    return (
        f"a burn of the mothership: {word}: of {told['compared']} the best, {best['burns']}, takes "
        f"{best['propellant_kg']:.2f} kg, adds {best['science_gained']:+.4f} science within some propellant "
        f"({best['science_gained_at_most']:+.4f} at the most science) and {best['targets_gained']:+d} targets"
    )
