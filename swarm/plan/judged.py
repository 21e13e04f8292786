"""The judgement of every opportunity: made in chunks on the workers, kept as the run's table `judged`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.corrections import KINDS
from swarm.encounter.judging import Judged
from swarm.encounter.reasons import REASONS
from swarm.plan.data import Chances, PlanData, column, plan_data, row_qualities
from swarm.plan.objectives import row_chances
from swarm.run.kinds import ENCOUNTERS, FLYBY
from swarm.study.by_design import each_design
from targets.base.timescale import jd_from_tdb_s, tdb_s_from_jd
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.run.workers import Pool
    from swarm.study.schema import Study

# Opportunities judged in one task: some tenths of a second of work, so that a small table keeps all workers busy.
# Part of no answer: an opportunity is judged alone.
CHUNK = 200
# (n, 3) columns of the judgement and what their parts are called in the table
_SPLIT = {
    f"{which}_cov_km2": tuple(f"{which}_cov_{part}_km2" for part in ("tt", "rr", "tr"))
    for which in ("delivery", "start", "before")
}
# what goes to the table `corrections` instead
_OF_CORRECTIONS = ("correction_before_s", "correction_kind")


@dataclass(frozen=True)
class _Shared:
    study: Study
    opportunities: pa.Table
    targets: Catalogue
    kind: str


def judge_all(study: Study, opportunities: pa.Table, targets: Catalogue, *, pool: Pool) -> Judged:
    """Judge every opportunity on the workers of `pool`; the same answer on any number of them."""
    parts = [
        (rows[alike], _judge_alike(_Shared(own, table.take(alike), targets, kind), pool))
        for own, rows, table in each_design(study, opportunities)
        for kind, alike in _by_kind(table)
        if len(alike) or not opportunities.num_rows
    ]
    order = np.argsort(np.concatenate([rows for rows, _ in parts]), kind="stable")
    whole = joined([judged for _, judged in parts])
    return Judged(**{field.name: getattr(whole, field.name)[order] for field in fields(Judged)})


def _by_kind(table: pa.Table) -> list[tuple[str, NDArray[np.int64]]]:
    """The kinds of encounter in a table, with their rows; flybys where it does not say, or is empty."""
    if "kind" not in table.column_names or not table.num_rows:
        return [(FLYBY, np.arange(table.num_rows))]
    kinds = np.asarray(table["kind"].to_pylist(), dtype=object)
    return [(name, np.flatnonzero(kinds == name)) for name in ENCOUNTERS if (kinds == name).any()]


# Kinds of encounter whose kernels this process has compiled or loaded.
_COMPILED: set[str] = set()


def _judge_alike(shared: _Shared, pool: Pool) -> Judged:
    """Judge opportunities of one design and one kind."""
    if pool.workers > 1 and shared.kind not in _COMPILED:
        # compile here, once, so that workers start from a full cache and the next run from a kept one
        _judge_chunk((0, 1), shared)
        _COMPILED.add(shared.kind)
    chunks = [(first, CHUNK) for first in range(0, max(shared.opportunities.num_rows, 1), CHUNK)]
    return joined(pool.map(_judge_chunk, chunks, shared=shared))


def joined(parts: Sequence[Judged]) -> Judged:
    """Return judgements one after the other, as if made together."""
    return Judged(
        **{
            field.name: np.concatenate([getattr(part, field.name) for part in parts])
            for field in fields(Judged)
        }
    )


def _judge_chunk(chunk: tuple[int, int], shared: _Shared) -> Judged:
    """A task: so many rows from the first on."""
    judged: Judged = ENCOUNTERS[shared.kind].function("judge")(
        shared.study,
        shared.opportunities.slice(*chunk),
        shared.targets,
        qualities=tuple(row_qualities(shared.study)),
    )
    return judged


def chances_of(judged: Judged) -> Chances:
    """Return what the objectives need of a judgement."""
    return Chances(
        chance_returned=judged.chance_returned,
        chance_quality=judged.chance_quality,
        dv99_m_s=judged.dv99_m_s,
        home_days=judged.home_days,
        relayed=judged.relayed,
    )


def judged_table(study: Study, opportunities: pa.Table, judged: Judged, *, data: PlanData) -> pa.Table:
    """Return the judgement as a table: a row an opportunity, in the order of `opportunities`.

    `chance_quality_<q>` is P(quality >= q) for every quality_min of the rows, `chance_row_<k>` the chance
    that the probe satisfies row k, hardware, link, delivery and class included.
    """
    columns: dict[str, Any] = {"opportunity": opportunities["opportunity"]}
    for field in fields(Judged):
        if field.name in _OF_CORRECTIONS:
            continue
        columns |= _columns_of(field.name, getattr(judged, field.name), study)
    columns["reason_text"] = pa.array([REASONS[int(code)] for code in judged.reason], pa.string())
    columns["hardware"] = data.hardware
    columns["propellant_kg"] = data.propellant_kg
    chances = row_chances(data)
    columns |= {f"chance_row_{k}": chances[:, k] for k in range(chances.shape[1])}
    return pa.table(columns)


def corrections_table(opportunities: pa.Table, judged: Judged) -> pa.Table:
    """Return the corrections that the judgement planned, in order: opportunity, correction, kind, jd_tdb.

    kind : "after-burn" or "before-encounter" (both by tracking from the ground), "in-sight" (by images of the target)
    """
    row, number = np.nonzero(np.arange(judged.correction_kind.shape[1]) < judged.corrections[:, None])
    met_s = tdb_s_from_jd(column(opportunities, "encounter_jd_tdb"))[row]
    kinds = np.array(KINDS)[judged.correction_kind[row, number]]
    return pa.table(
        {
            "opportunity": column(opportunities, "opportunity")[row],
            "correction": number,
            "kind": pa.array(kinds.tolist(), pa.string()),
            "jd_tdb": jd_from_tdb_s(met_s - judged.correction_before_s[row, number]),
        }
    )


def low_quality_share(judged: pa.Table, opportunities: Sequence[int]) -> float:
    """Return the share of the expected encounters of a plan that show their target and hardly more.

    Of encounters that are flown, seen and sent home: those with quality under `policies.LOW_QUALITY`, by chance; 0
    where the plan expects none. `judged` is the run's table.
    """
    rows = np.isin(column(judged, "opportunity"), np.asarray(opportunities))
    sent = (column(judged, "hardware") * column(judged, "chance_returned"))[rows]
    seen = sent @ column(judged, "shown_chance")[rows]
    return float(sent @ column(judged, "chance_low_quality")[rows] / seen) if seen > 0.0 else 0.0


def _columns_of(name: str, values: NDArray, study: Study) -> dict[str, NDArray]:
    if name == "chance_quality":
        return {quality_column(q): values[:, k].copy() for k, q in enumerate(row_qualities(study))}
    if name in _SPLIT:
        return {part: values[:, k].copy() for k, part in enumerate(_SPLIT[name])}
    return {name: values}


def quality_column(quality_min: float) -> str:
    """Return the name of the column with P(quality >= quality_min)."""
    return f"chance_quality_{quality_min:g}"


def chances_from_table(study: Study, table: pa.Table) -> Chances:
    """Return what the objectives need from the run's table `judged`."""

    def held(name: str) -> NDArray:
        return np.array(table[name].to_numpy())

    return Chances(
        chance_returned=held("chance_returned"),
        chance_quality=np.stack([held(quality_column(q)) for q in row_qualities(study)], axis=1),
        dv99_m_s=held("dv99_m_s"),
        home_days=held("home_days"),
        relayed=held("relayed").astype(bool),
    )


def judged_plan_data(
    study: Study, opportunities: pa.Table, targets: Catalogue, *, table: pa.Table
) -> PlanData:
    """Return the objectives' data of a run from its tables; row k of both tables is one opportunity."""
    return plan_data(study, opportunities, targets, judged=chances_from_table(study, table))
