"""The answer to a choice among motherships: plain values, and the sentences that terminal and page make of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.app.carriers.joining import SHARES, OfCarrier, upper_within
from swarm.study.schema import Study
from targets.base.constants import STANDARD_GRAVITY_M_S2

# A burn is worth flying where it adds this much science within some propellant: less is rounding of a search.
_WORTH = 1e-4


@dataclass(frozen=True)
class ChosenShip:
    """The plan of the joined front that the study's rule takes: its number there and on its mothership's own front."""

    plan: int
    carrier: int
    plan_of_carrier: int
    folder: str


def answer_of(
    study: Study,
    table: pa.Table,
    front: pa.Table,
    bound: pa.Table,
    flown: Sequence[OfCarrier],
    chosen: ChosenShip | None,
) -> dict[str, Any]:
    """The answer as plain values: which mothership, and whether a burn of it is worth it."""
    rows = [row for row in table.to_pylist() if row["science_best"] is not None]
    quiet = sorted((row for row in rows if not row["burns"]), key=_best_first)
    told: dict[str, Any] = {
        "listed": sum("mothership.burns" not in row["changes"] for row in table.to_pylist()),
        "searched": len(quiet),
        "best": _told(quiet[0]),
        "worst": _told(min(quiet, key=lambda row: row["science_best"])),
        "on_the_front": [_told(row) for row in rows if row["plans"]],
        "plans": front.num_rows,
        "bound": _bound_told(bound),
        "steers": _steering(study, front),
    }
    if len(quiet) > 1:
        told["second"] = _told(quiet[1])
    if chosen is not None:
        told["chosen"] = vars(chosen) | {
            "label": next(row["label"] for row in rows if row["carrier"] == chosen.carrier)
        }
    if study.mothership.retarget is not None:
        told["retarget"] = _burn_answer(study, table.to_pylist(), rows, quiet[0])
        if "best" in told["retarget"]:
            levels_kg = float(front["propellant_kg"].to_numpy().max(initial=0.0)) * np.array(SHARES)
            burning = [row for row in rows if row["burns"]]
            told["retarget"] |= _proof(quiet[0], burning, {each.number: each for each in flown}, levels_kg)
    return told


def _best_first(row: dict[str, Any]) -> tuple[float, float, int]:
    return -row["science_best"], row["propellant_best_kg"], row["carrier"]


def _told(row: dict[str, Any]) -> dict[str, Any]:
    keys = ("carrier", "label", "science_best", "propellant_best_kg", "targets", "plans")
    return {key: row[key] for key in keys}


def _bound_told(bound: pa.Table) -> dict[str, float]:
    """Of the last level, the largest that is proven for every mothership."""
    return {name: bound[name][-1].as_py() for name in ("propellant_kg", "science_upper", "science_best")}


def _steering(study: Study, front: pa.Table) -> dict[str, Any]:
    """Kilograms of the mothership's own burns against those of the probes, of the joined plans."""
    asked = study.mothership.retarget
    counted = asked is None or asked.counts
    ship = front["carrier_propellant_kg"].to_pylist()
    probes = [
        kg - (own if counted else 0.0)
        for kg, own in zip(front["propellant_kg"].to_pylist(), ship, strict=True)
    ]
    burning = [own for own in ship if own > 0.0]
    return {
        "plans": len(ship), "plans_with_burns": len(burning), "ship_kg_most": max(ship, default=0.0),
        "probes_kg_most": max(probes, default=0.0),
    }  # fmt: skip


def _burn_answer(
    study: Study, listed: list[dict[str, Any]], rows: list[dict[str, Any]], quiet: dict[str, Any]
) -> dict[str, Any]:
    """Whether any burn adds science within the same propellant, its own kilograms charged; the zero burn is `quiet`."""
    asked, ship = study.mothership.retarget, study.mothership
    burning = [row for row in rows if row["burns"]]
    told: dict[str, Any] = {
        "compared": len(burning),
        "refused": sum("mothership.burns" in row["changes"] and not row["burns"] for row in listed),
        "without": _told(quiet),
        "worth_it": False,
        "budget_m_s": asked.budget_m_s if asked is not None else 0.0,
        "mass_kg": ship.mass_kg,
    }
    if asked is not None and asked.isp_s is not None:
        kilograms = ship.mass_kg * -math.expm1(-1.0 / (STANDARD_GRAVITY_M_S2 * asked.isp_s))
        told |= {"kg_for_1_m_s": kilograms, "probe_m_s_for_as_much": _probe_m_s(study, kilograms)}
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


def _proof(
    quiet: dict[str, Any], burning: list[dict[str, Any]], flown: dict[int, OfCarrier], levels_kg: NDArray
) -> dict[str, bool]:
    """Whether bounds settle it at the quarters of the propellant: some burn has more science than any plan without one
    can have; or no burn can have more anywhere than was found without one."""
    without = upper_within(flown[quiet["carrier"]], levels_kg)
    more, none_more = False, True
    for row in burning:
        found = np.array([row[f"science_at_level_{k}"] for k in range(len(levels_kg))])
        quietly = np.array([quiet[f"science_at_level_{k}"] for k in range(len(levels_kg))])
        more |= bool((found > without).any())
        none_more &= bool((upper_within(flown[row["carrier"]], levels_kg) <= quietly + _WORTH).all())
    return {"proven_more": more, "proven_none_more": none_more}


def _probe_m_s(study: Study, kilograms: float) -> float | None:
    """What so many kilograms are as a burn of one probe; None where they are more than the probe weighs."""
    probe = study.probe
    if kilograms >= probe.wet_mass_kg:
        return None
    return -STANDARD_GRAVITY_M_S2 * probe.isp_s * math.log1p(-kilograms / probe.wet_mass_kg)


# --- in words -----------------------------------------------------------------------------------------------


def sentences(told: dict[str, Any]) -> dict[str, list[str]]:
    """The answer in sentences by question: when, burn, steers, front."""
    return {
        "when": _when(told),
        "burn": [burn_sentence(told["retarget"])] if "retarget" in told else ["No burn was asked about."],
        "steers": _who(told),
        "front": _front(told),
    }


def answer_lines(told: dict[str, Any]) -> list[str]:
    """The answer in sentences, line by line."""
    said = sentences(told)
    return [*said["when"], *(said["burn"] if "retarget" in told else []), *said["steers"], *said["front"]]


def _when(told: dict[str, Any]) -> list[str]:
    best, worst = told["best"], told["worst"]
    lines = [
        f"{told['listed']} motherships listed, {told['searched']} searched",
        f"best: {best['label']}: science {best['science_best']:.3f} for {best['propellant_best_kg']:.2f} kg, "
        f"{best['targets']} targets in reach",
    ]
    if "second" in told:
        second = told["second"]
        lost = second["science_best"] - best["science_best"]
        lines.append(f"next: {second['label']}: science {second['science_best']:.3f} ({lost:+.3f})")
        lost = worst["science_best"] - best["science_best"]
        lines.append(
            f"worst of those searched: {worst['label']}: science {worst['science_best']:.3f} ({lost:+.3f}), "
            f"{worst['targets']} targets"
        )
    return lines


def _front(told: dict[str, Any]) -> list[str]:
    bound = told["bound"]
    lines = [f"{told['plans']} plans on the joined front"]
    lines += [f"  on the front: {row['label']}: {row['plans']} plans" for row in told["on_the_front"]]
    lines.append(
        f"within {bound['propellant_kg']:.2f} kg no plan of these motherships has more science than "
        f"{bound['science_upper']:.3f}; the best found has {bound['science_best']:.3f}"
    )
    if "chosen" in told:
        chosen = told["chosen"]
        lines.append(
            f"the study's rule takes plan {chosen['plan']}, which flies {chosen['label']} (plan "
            f"{chosen['plan_of_carrier']} of {chosen['folder']}); counts and sensitivities, where asked for, are there"
        )
    return lines


def _who(told: dict[str, Any]) -> list[str]:
    steers = told["steers"]
    if "retarget" not in told or not steers["plans"]:
        return []
    return [
        f"who steers: {steers['plans_with_burns']} of {steers['plans']} joined plans burn the mothership, with up to "
        f"{steers['ship_kg_most']:.2f} kg, beside up to {steers['probes_kg_most']:.2f} kg of the probes"
    ]


def burn_sentence(told: dict[str, Any]) -> str:
    """Whether a burn of the mothership is worth it, with the numbers."""
    as_much = ""
    if told.get("probe_m_s_for_as_much") is not None:
        as_much = (
            f"; 1 m/s of {told['mass_kg']:.0f} kg takes {told['kg_for_1_m_s']:.3f} kg, what "
            f"{told['probe_m_s_for_as_much']:.0f} m/s cost one probe"
        )
    if told["refused"]:
        as_much = f"; {told['refused']} more would fly by a planet as no rule allows, or take more than asked{as_much}"
    if "best" not in told:
        none = f"none of up to {told['budget_m_s']:g} m/s brings anything in; not worth it"
        return f"a burn of the mothership: {none}{as_much}"
    best = told["best"]
    word = "worth it" if told["worth_it"] else "not worth it"
    if told["worth_it"] and not told["proven_more"]:
        as_much = f"; bounds do not settle it: a search without a burn may find as much{as_much}"
    elif told["proven_more"]:
        as_much = f"; proven: no plan without it has as much{as_much}"
    elif told["proven_none_more"]:
        as_much = f"; proven: no plan with any of these burns has more{as_much}"
    return (
        f"a burn of the mothership: {word}: of {told['compared']} the best, {best['burns']}, takes "
        f"{best['propellant_kg']:.2f} kg, adds {best['science_gained']:+.4f} science within some propellant "
        f"({best['science_gained_at_most']:+.4f} at the most science) and {best['targets_gained']:+d} targets{as_much}"
    )
