"""A front under other weights, thresholds or chances: the same plans, counted anew from what was judged.

Nothing is searched: what is found is what these plans come to, and which of them the study's rule would now choose. A
search with the changed study may find better ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from swarm.decide.summary import select_plan
from swarm.optimize.archive import Archive, costs_of, merged
from swarm.plan.data import plan_data
from swarm.plan.judged import chances_from_table
from swarm.plan.measures import plans_matrix
from swarm.plan.objectives import evaluate
from swarm.study.schema import Study, study_from
from targets.base.errors import InputError

if TYPE_CHECKING:
    from swarm.run.folder import Run


@dataclass(frozen=True)
class WhatIf:
    """What the plans of a front come to under a changed study.

    study : with the changes
    front : plan, probes, science, propellant_kg, risk, loaded_kg as in the run's front, now; science_was and risk_was
            as they were; beaten, whether another of these plans is now at least as good in everything
    plan  : number of the plan that the study's rule chooses now
    """

    study: Study
    front: pa.Table
    plan: int


def what_if(
    run: Run,
    *,
    weights: Mapping[str, float] | None = None,
    thresholds: Mapping[str, int] | None = None,
    success: float | None = None,
) -> WhatIf:
    """Count the plans of a run's front anew.

    weights, thresholds : of rows of the study, by their names
    success             : the chance that a probe works, where the study has one for all (survival.model "simple")

    Raises InputError for a row that is not there and for values that no study may have.
    """
    study = _changed(run.study, weights or {}, thresholds or {}, success)
    front, opportunities = run.read_table("front"), run.read_table("opportunities")
    plans = plans_matrix(run.read_table("plans"), opportunities, front.num_rows, probes=study.probe.count)
    used = np.unique(plans[plans >= 0])
    data = plan_data(
        study,
        opportunities.take(used),
        run.targets(),
        judged=chances_from_table(study, run.read_table("judged")).take(used),
    )
    small = np.where(plans >= 0, np.searchsorted(used, plans), -1)
    values = evaluate(small, data)
    best = merged([Archive(np.arange(len(small))[:, None], costs_of(values))]).plans[:, 0]
    now = pa.table(
        {
            "plan": front["plan"],
            "probes": front["probes"],
            "science": values[:, 0],
            "propellant_kg": values[:, 1],
            "risk": values[:, 2],
            "loaded_kg": front["loaded_kg"],
            **{name: front[name] for name in front.column_names if name.startswith("probes_of_")},
            "science_was": front["science"],
            "risk_was": front["risk"],
            "beaten": ~np.isin(np.arange(len(small)), best),
        }
    )
    return WhatIf(study, now, select_plan(now, study)[0])


def _changed(
    study: Study, weights: Mapping[str, float], thresholds: Mapping[str, int], success: float | None
) -> Study:
    given: dict[str, Any] = study.model_dump(
        mode="json", by_alias=True, exclude_unset=True, exclude_none=True
    )
    for key, values in (("weight", weights), ("threshold", thresholds)):
        for name, value in values.items():
            _row(given, name)[key] = value
    if success is not None:
        if study.survival.model != "simple":
            raise InputError(
                "this study has no one chance for all probes",
                place="survival.model",
                found=study.survival.model,
                expected='"simple"',
            )
        given.setdefault("survival", {})["success"] = success
    changed = study_from(given, file="the study, with changes")
    changed._base = study.base
    return changed


def _row(given: dict[str, Any], name: str) -> dict[str, Any]:
    rows = {row["name"]: row for row in given["science"]["rows"]}
    if name not in rows:
        raise InputError("no such row", place="science.rows", found=name, expected=", ".join(rows))
    return rows[name]
