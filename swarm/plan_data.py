"""What the objectives need to know about each opportunity, as one record of arrays for compiled code."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter import data_return_chances, flyby_quality
from swarm.propellant import propellant_kg
from swarm.survival import hardware_chances
from targets.catalogue import Catalogue
from targets.errors import InputError
from targets.worth import body_matches, class_chances, diameters, row_labels

if TYPE_CHECKING:
    from swarm.study import ScienceRow, Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Joint counts of the rows with a threshold that the exact risk may need; beyond, a plan would take seconds.
STATES_MAX = 1 << 20


class PlanData(NamedTuple):
    """n opportunities, t targets, r rows, m distinct sets of rows; probabilities given working hardware.

    An outcome is a set of rows that one encounter satisfies together, with its chance. The sets are given
    twice: for each class the target may have (needed where probes share a target, since they share its
    class) and merged over the classes.
    """

    probes: int  # largest plan these arrays serve
    target: Ints  # (n,) row of the targets table
    propellant_kg: Floats  # (n,)
    hardware: Floats  # (n,) 1 - q, shared failures included
    data_return: Floats  # (n,)
    shared_fraction: float
    class_chance: Floats  # (t, labels)
    outcome_start: Ints  # (n + 1,) slices of the next three, in order of class
    outcome_class: Ints
    outcome_set: Ints  # index into row_sets
    outcome_chance: Floats  # given the class
    merged_start: Ints  # (n + 1,) slices of the next two
    merged_set: Ints
    merged_chance: Floats
    row_sets: Bools  # (m, r)
    weight: Floats  # (r,) sums to 1
    baseline: Ints  # (r,)
    threshold: Ints  # (r,)
    count_cap: Ints  # (r,) counts above make no difference to science or threshold
    risk_row: Ints  # (k,) rows with a threshold
    risk_stride: Ints  # (k,) step of a joint state per count of that row
    risk_count: Ints  # (states, k) counts of a joint state, capped at the threshold; the last has met all


def plan_data(
    study: Study, opportunities: pa.Table, targets: Catalogue, *, probes: int | None = None
) -> PlanData:
    """Turn opportunities and their targets into what `swarm.objectives.evaluate` reads.

    Parameters
    ----------
    study         : probe, margins, survival, constraints.sun_earth_probe_min_deg and science.rows are read
    opportunities : contract columns and `target_index`, the row of `targets`
    probes        : the most probes a plan may have; study.probe.count unless given
    """
    most = study.probe.count if probes is None else probes
    target = column(opportunities, "target_index").astype(np.int64)
    data_return = data_return_chances(
        column(opportunities, "sun_earth_probe_deg"), minimum_deg=study.constraints.sun_earth_probe_min_deg
    )
    labels, chances = class_chances(targets)
    satisfied = _opportunity_rows(study, opportunities, targets, target=target)
    return PlanData(
        probes=most,
        target=target,
        propellant_kg=propellant_kg(column(opportunities, "burn_m_s"), study),
        hardware=hardware_chances(study.survival, len(target)),
        data_return=data_return,
        shared_fraction=float(study.survival.shared_fraction),
        class_chance=np.ascontiguousarray(chances, dtype=np.float64),
        **_outcomes(satisfied, _class_rows(study.science.rows, labels), chances[target], data_return),
        **_row_arrays(study.science.rows, most),
    )


def column(table: pa.Table, name: str) -> NDArray:
    """Return a column as a numpy array of its own memory (Arrow buffers are read-only)."""
    return np.array(table[name].to_numpy())


def encounter_qualities(study: Study, opportunities: pa.Table, targets: Catalogue) -> Floats:
    """Return the quality, 0 to 1, of each opportunity's encounter, (n,)."""
    diameter_km, _ = diameters(targets)
    return flyby_quality(
        study.probe,
        column(opportunities, "v_rel_km_s"),
        column(opportunities, "phase_in_deg"),
        diameter_km=diameter_km[column(opportunities, "target_index")],
    )


def _opportunity_rows(study: Study, opportunities: pa.Table, targets: Catalogue, *, target: Ints) -> Bools:
    """(n, r): rows an encounter satisfies if the target's class is right: body, encounter, quality."""
    quality = encounter_qualities(study, opportunities, targets)
    kind = np.asarray(opportunities["kind"].to_pylist(), dtype=object)
    satisfied = np.zeros((len(target), len(study.science.rows)), dtype=bool)
    for k, row in enumerate(study.science.rows):
        body = body_matches(targets, row.where)[target]
        satisfied[:, k] = body & (kind == row.where.kind) & (quality >= row.quality_min)
    return satisfied


def _class_rows(rows: tuple[ScienceRow, ...], labels: tuple[str, ...]) -> Bools:
    """(labels, r): rows that ask for the class, or for none."""
    asked = [row_labels(row.where.taxonomy) if row.where.taxonomy else labels for row in rows]
    return np.array([[label in wanted for wanted in asked] for label in labels], dtype=bool)


def _outcomes(satisfied: Bools, class_rows: Bools, class_chance: Floats, data_return: Floats) -> dict:
    """Sparse outcomes of each (opportunity, class); those without a row or without a chance are left out."""
    opportunity, label = np.nonzero((class_chance > 0.0) & (data_return > 0.0)[:, None])
    rows = satisfied[opportunity] & class_rows[label]
    counts = rows.any(axis=1)
    opportunity, label, rows = opportunity[counts], label[counts], rows[counts]
    row_sets, which = np.unique(rows, axis=0, return_inverse=True)
    which = which.reshape(-1)
    merged, place = np.unique(opportunity * len(row_sets) + which, return_inverse=True)
    chance = data_return[opportunity]
    merged_chance = np.bincount(
        place.reshape(-1), weights=chance * class_chance[opportunity, label], minlength=len(merged)
    )
    n = len(satisfied)
    return {
        "outcome_start": _starts(opportunity, n),
        "outcome_class": label.astype(np.int64),
        "outcome_set": which.astype(np.int64),
        "outcome_chance": chance,
        "merged_start": _starts(merged // max(len(row_sets), 1), n),
        "merged_set": (merged % max(len(row_sets), 1)).astype(np.int64),
        "merged_chance": merged_chance.astype(np.float64),
        "row_sets": row_sets,
    }


def _starts(sorted_owner: Ints, n: int) -> Ints:
    return np.searchsorted(sorted_owner, np.arange(n + 1)).astype(np.int64)


def _row_arrays(rows: tuple[ScienceRow, ...], probes: int) -> dict:
    weight = np.array([row.weight for row in rows], dtype=np.float64)
    baseline = np.array([row.baseline for row in rows], dtype=np.int64)
    # A count never exceeds the probes: one more than that is as far out of reach as any larger threshold.
    threshold = np.minimum(np.array([row.threshold for row in rows], dtype=np.int64), probes + 1)
    risk_row = np.flatnonzero(threshold > 0)
    sizes = [int(size) for size in threshold[risk_row] + 1]
    if math.prod(sizes) > STATES_MAX:
        raise InputError(
            "too many joint counts for an exact risk",
            place="science.rows threshold",
            found=f"(threshold + 1) multiplied over the rows is {math.prod(sizes)}",
            expected=f"at most {STATES_MAX}",
            do="lower thresholds, or set some to 0 where a row need not be met",
        )
    strides = np.array([math.prod(sizes[k + 1 :]) for k in range(len(sizes))], dtype=np.int64)
    return {
        "weight": weight / weight.sum(),
        "baseline": baseline,
        "threshold": threshold,
        "count_cap": np.maximum(np.minimum(np.maximum(baseline, threshold), probes + 1), 1),
        "risk_row": risk_row.astype(np.int64),
        "risk_stride": strides,
        "risk_count": np.ascontiguousarray(_joint_counts(sizes)),
    }


def _joint_counts(sizes: list[int]) -> Ints:
    """(states, k): the counts of each joint state, last row fastest."""
    if not sizes:
        return np.zeros((1, 0), dtype=np.int64)
    return np.stack(np.unravel_index(np.arange(math.prod(sizes)), sizes), axis=1).astype(np.int64)
