"""A 5x5 risk table of the chosen plan: what may go wrong, how likely it is, what it would cost.

Likelihoods come from the survival model and from the judgement of the plan's opportunities where these have one,
else from the study, where the project sets them. The consequence is the share of the plan's science that is lost
once it has happened; nothing else (people, money, dates) is weighed. Of things that may befall any probe, the row
is that of the probe for which likelihood times consequence is greatest.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.decide.grounds import BURN, LOW, SLIP
from swarm.decide.sensitivity import NOTHING, Sensitivity
from swarm.plan.constraints import UNUSED
from swarm.plan.data import Chances, PlanData, column, hardware_of, plan_data, stored_and_active_days
from swarm.plan.measures import measures
from swarm.plan.objectives import evaluate
from swarm.plan.survival import group_failures, phase_chances, shared_groups
from swarm.study.by_design import design_names, probe_values
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class FlownPlan:
    """The probes of the chosen plan, row k of all being probe k."""

    opportunities: pa.Table
    targets: Catalogue
    judged: Chances


@dataclass(frozen=True)
class Risk:
    """One row before it is put into bins: likelihood and consequence from 0 to 1."""

    item: str
    cause: str
    likelihood: float
    consequence: float
    source: str


def risk_table(study: Study, flown: FlownPlan, changes: Sensitivity) -> pa.Table:
    """Return item, cause, likelihood, consequence, likelihood_bin, consequence_bin, source.

    flown : the plan's probes only;  found : what the sensitivities came to
    """
    if study.sensitivity is None:
        raise ValueError("without [sensitivity] there are no bins")
    rows = list(_risks(study, flown, changes))
    likelihood = np.array([row.likelihood for row in rows])
    consequence = np.clip([row.consequence for row in rows], 0.0, 1.0)
    return pa.table(
        {
            "item": pa.array([row.item for row in rows], pa.string()),
            "cause": pa.array([row.cause for row in rows], pa.string()),
            "likelihood": likelihood,
            "consequence": consequence,
            "likelihood_bin": bins(likelihood, study.sensitivity.likelihood_bins),
            "consequence_bin": bins(consequence, study.sensitivity.consequence_bins),
            "source": pa.array([row.source for row in rows], pa.string()),
        }
    )


def bins(values: Floats, ends: tuple[float, ...]) -> Ints:
    """Return the bin, 1 to 5, of values from the lower ends of the bins; one on an end belongs to the higher bin."""
    return np.searchsorted(np.asarray(ends), np.asarray(values), side="right").astype(np.int64)


def _risks(study: Study, flown: FlownPlan, changes: Sensitivity) -> Iterator[Risk]:
    data = plan_data(study, flown.opportunities, flown.targets, judged=flown.judged)
    plan = np.arange(flown.opportunities.num_rows, dtype=np.int64)
    yield from _of_one_probe(study, flown, data, plan)
    yield from _of_groups(study, flown, data, plan)
    yield _no_data(data, plan)
    yield from _of_the_mission(study, changes)


# --- one probe ----------------------------------------------------------------------------------------------


def _of_one_probe(study: Study, flown: FlownPlan, data: PlanData, plan: Ints) -> Iterator[Risk]:
    loss = [share_lost(plan, [k], data) for k in range(len(plan))]
    names = flown.opportunities["target"].to_pylist()
    owner = np.repeat(plan, np.diff(data.merged_start))
    satisfied = np.bincount(owner, weights=data.merged_chance, minlength=len(plan))
    returned = np.maximum(data.data_return, 1e-300)
    cases = [
        *_hardware_cases(study, flown),
        ("data do not come home", "link, power, conjunction or life", 1.0 - data.data_return,
         "judged.chance_returned"),
        ("an encounter serves no row", "delivery, quality or class of the target not as asked",
         np.where(data.data_return > 0.0, 1.0 - satisfied / returned, 1.0), "judged.chance_quality, classes"),
    ]  # fmt: skip
    for item, cause, likelihood, source in cases:
        k = int(np.argmax(np.round(likelihood * loss, 12)))
        place = f"{item}: probe {k}, target {names[k]}"
        yield Risk(place, cause, float(np.clip(likelihood[k], 0.0, 1.0)), loss[k], source)


def _hardware_cases(study: Study, flown: FlownPlan) -> list[tuple[str, str, Floats, str]]:
    """What the survival model tells apart: the simple one only whether a probe works at all."""
    home = flown.judged.home_days
    if study.survival.model == "simple":
        chance = hardware_of(study, flown.opportunities, home)
        cause = "any failure of its hardware; the simple model does not say when"
        return [("a probe fails", cause, 1.0 - chance, "survival.success")]
    stored, active = stored_and_active_days(study, flown.opportunities, home)
    phases = phase_chances(
        study.survival, stored, active,
        storage_life_days=probe_values(study, flown.opportunities, "storage_limit_days"),
        life_days=probe_values(study, flown.opportunities, "cruise_life_days"),
    )  # fmt: skip
    return [
        ("a probe is dead at check-out", "release, switch-on", 1.0 - phases.release * phases.switch_on,
         "survival.release_success, survival.dead_on_arrival"),
        ("a probe fails in flight", "ageing, stored and active", 1.0 - phases.flight * phases.within_life,
         "survival.weibull_shape, weibull_scale_days, dormancy"),
        ("a probe fails at its encounter", "safe mode, pointing", 1.0 - phases.encounter,
         "survival.encounter_success"),
    ]  # fmt: skip


def share_lost(plan: Ints, lost: list[int], data: PlanData) -> float:
    """Return the share of a plan's expected science that is gone without the probes of some places."""
    left = plan.copy()
    left[lost] = UNUSED
    before, after = evaluate(np.stack([plan, left]), data)[:, 0]
    return float(1.0 - after / before) if before > 0.0 else 0.0


# --- several probes -----------------------------------------------------------------------------------------


def _of_groups(study: Study, flown: FlownPlan, data: PlanData, plan: Ints) -> Iterator[Risk]:
    """A defect that strikes a group at once, by the model's own chance for the probes of this plan."""
    relayed = flown.judged.relayed
    release, designs = column(flown.opportunities, "release_jd_tdb"), design_names(study, flown.opportunities)
    groups = shared_groups(study.survival, release, relayed, designs=designs)
    common = group_failures(plan, data.hardware, data.group_mask, data.group_fraction)
    for g, name in enumerate(groups.names):
        members = [int(k) for k in np.flatnonzero((groups.mask >> g) & 1)]
        cause = "one design, build, dispenser, command or relay"
        yield Risk(f"a shared defect: {name}, {len(members)} probes", cause, float(common[g]),
                   share_lost(plan, members, data), "survival.shared_fraction, survival.groups")  # fmt: skip


def _no_data(data: PlanData, plan: Ints) -> Risk:
    chance = float(measures(plan[None, :], data).p_none[0])
    return Risk("no probe returns anything", "all of the above together", chance, 1.0, "front.p_none")


# --- the mission --------------------------------------------------------------------------------------------


def _of_the_mission(study: Study, changes: Sensitivity) -> Iterator[Risk]:
    """What the survival model knows nothing of: likelihoods are the study's, to be set by the project."""
    asked, rows = study.sensitivity, changes.table.to_pylist()
    if asked is None:
        return
    base = next(row for row in rows if row["factor"] == NOTHING)
    for row in rows:
        if row["factor"].startswith(SLIP):
            lost = _share(base["science"], row["science"])
            item = f"the mothership's schedule slips: {row['setting']}"
            yield Risk(item, "launch or cruise, planned again", asked.likelihood_slip, lost,
                       "sensitivity.likelihood_slip, to be set by the project")  # fmt: skip
        if row["factor"] == BURN and row["side"] == LOW:
            lost = _share(base["science_held"], row["science_held"])
            item = f"burns are weaker: at most {row['setting']}"
            yield Risk(item, "thruster or tank, plan kept", asked.likelihood_weaker_burn, lost,
                       "sensitivity.likelihood_weaker_burn, to be set by the project")  # fmt: skip
    lost_targets = changes.left_out.to_pylist()
    if lost_targets:
        worst = min(lost_targets, key=_science_held)
        yield Risk(f"a target is not where it should be: {worst['target']}", "orbit wrong, or lost",
                   asked.likelihood_target_lost, _share(base["science_held"], worst["science_held"]),
                   "sensitivity.likelihood_target_lost, to be set by the project")  # fmt: skip


def _science_held(row: dict[str, float]) -> float:
    return row["science_held"]


def _share(before: float, after: float) -> float:
    return 1.0 - after / before if before > 0.0 else 0.0
