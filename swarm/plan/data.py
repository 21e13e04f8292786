"""What the objectives need to know about each opportunity, as one record of arrays for compiled code."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.propellant import propellant_kg
from swarm.plan.asked import row_fits
from swarm.plan.survival import hardware_chances, shared_groups
from swarm.run.kinds import at_places
from swarm.study.by_design import by_design, design_names
from targets.base.errors import InputError
from targets.catalogue.reading import Catalogue
from targets.catalogue.worth import class_chances, row_labels

if TYPE_CHECKING:
    from swarm.study.schema import ScienceRow, Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Joint counts of the rows with a threshold that the exact risk may need; beyond, a plan would take seconds.
STATES_MAX = 1 << 20


class Chances(NamedTuple):
    """What n encounters come to beyond their geometry; chances are given working hardware."""

    chance_returned: Floats  # (n,) P(data come home)
    chance_quality: Floats  # (n, k) P(quality >= each of `row_qualities`) over the delivery
    dv99_m_s: Floats  # (n,) 99th percentile of the sum of corrections
    home_days: Floats  # (n,) from encounter until the data are home
    relayed: Bools  # (n,) whether the data come home through the mothership

    def take(self, index: NDArray) -> Chances:
        """Return the encounters of `index` (integers in the order wanted, or a mask)."""
        return Chances(*(values[index] for values in self))


class PlanData(NamedTuple):
    """n opportunities, t targets, r rows, m distinct sets of rows; probabilities given working hardware.

    An outcome is a set of rows that one encounter satisfies together, with its chance. The sets are given
    twice: for each class the target may have (needed where probes share a target, since they share its
    class) and merged over the classes.
    """

    probes: int  # largest plan these arrays serve
    target: Ints  # (n,) row of the targets table; encounters with places are numbered on behind, each its own
    propellant_kg: Floats  # (n,)
    hardware: Floats  # (n,) 1 - q, shared failures included
    data_return: Floats  # (n,)
    shared_fraction: float  # of the group of all probes
    group_mask: Ints  # (n,) bit g: the probe belongs to shared-failure group g
    group_fraction: Floats  # (g,) share of a member's failures that strikes the whole group
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
    study: Study,
    opportunities: pa.Table,
    targets: Catalogue,
    *,
    judged: Chances,
    probes: int | None = None,
    believed: Bools | None = None,
) -> PlanData:
    """Turn opportunities and their targets into what `swarm.plan.objectives.evaluate` reads.

    Parameters
    ----------
    study         : probe, margins, survival, constraints.sun_earth_probe_min_deg and science.rows are read
    opportunities : contract columns and `target_index`, the row of `targets`
    judged        : delivery, data return and corrections of each
    probes        : the most probes a plan may have; study.probe.count unless given
    believed      : (targets, rows) claims that count at all; every one unless given
    """
    most = study.probe.count if probes is None else probes
    target = column(opportunities, "target_index").astype(np.int64)
    data_return = np.ascontiguousarray(judged.chance_returned, dtype=np.float64)
    labels, chances = class_chances(targets)
    # at a place every encounter stands for itself: two probes may fly by one moon, and share no unknown class
    visited, chances = _visited(opportunities, target, chances)
    wanted = _opportunity_rows(study, opportunities, targets, target=target)
    if believed is not None:
        wanted &= believed[target]
    release, designs = column(opportunities, "release_jd_tdb"), design_names(study, opportunities)
    groups = shared_groups(study.survival, release, judged.relayed, designs=designs)
    levels = _Levels(_exactly(judged.chance_quality), _row_levels(study.science.rows))
    return PlanData(
        probes=most,
        target=visited,
        propellant_kg=_propellant_kg(study, opportunities, judged),
        hardware=hardware_of(study, opportunities, judged.home_days),
        data_return=data_return,
        shared_fraction=float(study.survival.shared_fraction),
        group_mask=groups.mask,
        group_fraction=groups.fraction,
        class_chance=np.ascontiguousarray(chances, dtype=np.float64),
        **_outcomes(
            wanted, _class_rows(study.science.rows, labels), levels,
            class_chance=chances[visited], data_return=data_return,
        ),
        **_row_arrays(study.science.rows, most),
    )  # fmt: skip


def _visited(opportunities: pa.Table, target: Ints, chances: Floats) -> tuple[Ints, Floats]:
    """(n,) what each encounter visits, places told apart by the encounter, and (t, labels) the chances of classes."""
    place = at_places(opportunities) if len(target) else np.zeros(0, dtype=bool)
    if not place.any():
        return target, chances
    visited = np.where(place, len(chances) + np.cumsum(place) - 1, target)
    return visited.astype(np.int64), np.concatenate([chances, chances[target[place]]])


def _propellant_kg(study: Study, opportunities: pa.Table, judged: Chances) -> Floats:
    """(n,) what each row's probe consumes, by its design, and the mothership to steer for it, if that counts."""
    burn, dv99 = column(opportunities, "burn_m_s"), judged.dv99_m_s
    own: Floats = by_design(
        study, opportunities, lambda own, rows, _: propellant_kg(burn[rows], own, dv99_m_s=dv99[rows])
    )
    return own + steering_kg(opportunities) if study.mothership.counts and steers(opportunities) else own


def steers(opportunities: pa.Table) -> bool:
    """Whether a table tells what the mothership burns for its rows."""
    return "carrier_propellant_kg" in opportunities.column_names


def steering_kg(opportunities: pa.Table) -> Floats:
    """(n,) what the mothership burns to steer for each row's probe."""
    if not steers(opportunities):
        return np.zeros(opportunities.num_rows)
    return np.nan_to_num(column(opportunities, "carrier_propellant_kg").astype(np.float64), nan=0.0)


def row_qualities(study: Study) -> Floats:
    """Return the distinct quality_min of the rows, rising: what a judgement gives the chances of, (k,)."""
    return np.unique([float(row.quality_min) for row in study.science.rows])


def hardware_of(study: Study, opportunities: pa.Table, home_days: Floats) -> Floats:
    """Return each opportunity's chance that the probe works until its data are home, (n,)."""
    stored_days, active_days = stored_and_active_days(study, opportunities, home_days)
    return by_design(
        study,
        opportunities,
        lambda own, rows, _: hardware_chances(
            own.survival,
            stored_days[rows],
            active_days[rows],
            storage_life_days=own.probe.storage_limit_days,
            life_days=own.probe.cruise_life_days,
        ),
    )


def stored_and_active_days(study: Study, opportunities: pa.Table, home_days: Floats) -> tuple[Floats, Floats]:
    """Return days aboard the mothership, from study.start on, and from release until the data are home, (n,)."""
    release = column(opportunities, "release_jd_tdb")
    # data that never come home have a chance of their own: the probe need not live for them
    sending_days = np.where(np.isfinite(home_days), home_days, 0.0)
    active = column(opportunities, "encounter_jd_tdb") - release + sending_days
    return release - study.study.start_jd_tdb, active


def column(table: pa.Table, name: str) -> NDArray:
    """Return a column as a numpy array of its own memory (Arrow buffers are read-only)."""
    return np.array(table[name].to_numpy())


def _opportunity_rows(study: Study, opportunities: pa.Table, targets: Catalogue, *, target: Ints) -> Bools:
    """(n, r): rows an encounter satisfies if the target's class is right and it is good enough."""
    wanted = np.zeros((len(target), len(study.science.rows)), dtype=bool)
    for k, row in enumerate(study.science.rows):
        wanted[:, k] = row_fits(row, opportunities, targets)
    return wanted


def _class_rows(rows: tuple[ScienceRow, ...], labels: tuple[str, ...]) -> Bools:
    """(labels, r): rows that ask for the class, or for none."""
    asked = [row_labels(row.where.taxonomy) if row.where.taxonomy else labels for row in rows]
    return np.array([[label in wanted for wanted in asked] for label in labels], dtype=bool)


class _Levels(NamedTuple):
    """Delivered quality in steps: chance that it lies in each step, and which rows a step is good enough for."""

    chance: Floats  # (n, k)
    rows: Bools  # (k, r)


def _exactly(at_least: Floats) -> Floats:
    """Return P(a level is reached and the next is not) from P(>= each level), levels rising, (n, k)."""
    falling = np.minimum.accumulate(np.clip(at_least, 0.0, 1.0), axis=1)
    falling = np.where(np.isfinite(falling), falling, 0.0)
    return falling - np.append(falling[:, 1:], np.zeros((len(falling), 1)), axis=1)


def _row_levels(rows: tuple[ScienceRow, ...]) -> Bools:
    least = np.array([float(row.quality_min) for row in rows])
    return np.unique(least)[:, None] >= least[None, :]


def _outcomes(
    wanted: Bools, class_rows: Bools, levels: _Levels, *, class_chance: Floats, data_return: Floats
) -> dict:
    """Sparse outcomes of each (opportunity, class); those without a row or without a chance are left out."""
    parts = []
    for level in range(levels.chance.shape[1]):
        chance = data_return * levels.chance[:, level]
        opportunity, label = np.nonzero((class_chance > 0.0) & (chance > 0.0)[:, None])
        rows = wanted[opportunity] & class_rows[label] & levels.rows[level]
        counts = rows.any(axis=1)
        parts.append((opportunity[counts], label[counts], rows[counts], chance[opportunity[counts]]))
    opportunity, label, rows, chance = (np.concatenate(column) for column in zip(*parts, strict=True))
    row_sets, which = np.unique(rows, axis=0, return_inverse=True)
    return _packed(
        opportunity, label, which.reshape(-1), chance=chance, class_chance=class_chance, row_sets=row_sets
    )


def _packed(
    opportunity: Ints, label: Ints, which: Ints, *, chance: Floats, class_chance: Floats, row_sets: Bools
) -> dict:
    """Add up the chances of equal outcomes: by opportunity, class and set, and by opportunity and set."""
    n, labels = class_chance.shape
    sets = max(len(row_sets), 1)
    split, place = np.unique((opportunity * labels + label) * sets + which, return_inverse=True)
    given = np.bincount(place.reshape(-1), weights=chance, minlength=len(split))
    owner, split_label = split // (sets * labels), (split // sets) % labels
    merged, place = np.unique(owner * sets + split % sets, return_inverse=True)
    together = np.bincount(
        place.reshape(-1), weights=given * class_chance[owner, split_label], minlength=len(merged)
    )
    return {
        "outcome_start": _starts(owner, n),
        "outcome_class": split_label.astype(np.int64),
        "outcome_set": (split % sets).astype(np.int64),
        "outcome_chance": given.astype(np.float64),
        "merged_start": _starts(merged // sets, n),
        "merged_set": (merged % sets).astype(np.int64),
        "merged_chance": together.astype(np.float64),
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
        "risk_count": np.ascontiguousarray(joint_counts(sizes)),
    }


def joint_counts(sizes: list[int]) -> Ints:
    """(states, k): the counts of each joint state, last row fastest."""
    if not sizes:
        return np.zeros((1, 0), dtype=np.int64)
    return np.stack(np.unravel_index(np.arange(math.prod(sizes)), sizes), axis=1).astype(np.int64)
