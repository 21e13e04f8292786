"""Why a plan is worth what it is worth: probes, rows, shared failures, pairs, budgets, observing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from swarm.decide.explain import _SHARED_FRACTIONS, CAUTIONS, Step, _named, _row_of, _Tables, _tables
from swarm.encounter.propellant import carried_m_s, ledger, planned_m_s, probe_masses
from swarm.plan.data import PlanData, column
from swarm.plan.measures import measures
from swarm.plan.objectives import evaluate, row_counts
from swarm.plan.pairs import pairs_of
from swarm.plan.question import Question, pose
from swarm.plan.rules import PlanRules
from swarm.plan.survival import group_failures, shared_groups
from swarm.run.folder import Run
from swarm.study.by_design import design_names, each_design
from swarm.study.schema import Study
from swarm.study.sections.designs import DesignSettings
from targets.base.timescale import iso_tdb
from targets.catalogue.reading import Catalogue

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

# --- a plan -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Flown:
    """A plan in terms of the allowed opportunities."""

    plan: Ints  # (probes,) rows of `table`
    table: pa.Table
    judged: pa.Table
    relayed: Bools  # (rows of `table`,)
    data: PlanData
    rules: PlanRules


def explain_plan(run: Run, number: int) -> list[Step]:
    """Return why one plan is worth what it is worth: probes, rows, shared failures, pairs, budgets, observing."""
    front, tables = run.read_table("front"), _tables(run)
    values = front.slice(_row_of(front, "plan", number), 1).to_pylist()[0]
    flown = _flown(run, tables, number)
    steps = [
        _head_step(number, values),
        _probes_step(tables, flown),
        _marginal_step(flown),
        _plan_rows_step(tables.study, flown),
        _shared_step(tables, flown),
    ]
    pairs = _pairs_step(flown, tables.targets)
    budgets = [_budget_step(tables.study, flown), _observing_step(run, flown)]
    return [*steps, *pairs, *budgets, Step("Cautions", tuple(("-", text) for text in CAUTIONS))]


def _flown(run: Run, tables: _Tables, number: int) -> _Flown:
    plans = run.read_table("plans")
    chosen = plans.filter(pc.equal(plans["plan"], number)).sort_by("probe")
    study = tables.study
    posed = pose(
        Question(
            study, tables.opportunities, tables.targets, tables.chances, tables.flight, study.probe.count
        )
    )
    table = posed.table
    place = pc.index_in(chosen["opportunity"], value_set=table["opportunity"].combine_chunks())
    return _Flown(
        plan=column(pa.table({"row": place}), "row").astype(np.int64),
        table=table,
        judged=tables.judged.take(pa.array(posed.rows)),
        relayed=posed.judged.relayed,
        data=posed.data,
        rules=posed.rules,
    )


def _head_step(number: int, values: dict[str, Any]) -> Step:
    exact = values.get("measures_exact", True)
    lines = [
        ("probes", f"{values['probes']}"),
        ("science", f"{values['science']:.4f} of the baselines, expected"),
        ("propellant", f"{values['propellant_kg']:.3f} kg consumed"),
        (
            "risk",
            f"{values['risk']:.4f} = P(a threshold is missed); P(threshold) {values['p_threshold']:.4f}",
        ),
        ("P(baseline)", f"{'' if exact else 'at most '}{values['p_baseline']:.4f}"),
        ("P(none)", f"{values['p_none']:.2e}: no probe returns anything"),
        ("worst tenth", f"{'' if exact else 'at least '}{values['cvar10_science']:.4f} science, mean (CVaR)"),
        (
            "resting on assumptions",
            f"{100 * values['science_assumed']:.0f} % of the science: " + _kinds(values),
        ),
    ]
    return Step(f"Plan {number}", tuple(lines))


def _kinds(values: dict[str, Any]) -> str:
    kinds = {"taxonomy": "class", "albedo": "albedo", "h_mag": "H", "u_code": "U"}
    return ", ".join(f"{name} {100 * values[f'science_assumed_{key}']:.0f} %" for key, name in kinds.items())


def _probes_step(tables: _Tables, flown: _Flown) -> Step:
    lines = []
    for probe, row in enumerate(flown.plan):
        shown, judged = (each.slice(row, 1).to_pylist()[0] for each in (flown.table, flown.judged))
        body = tables.targets.take([int(shown["target_index"])])
        lines.append(
            (
                f"probe {probe}",
                f"opportunity {shown['opportunity']}, {_named(body)} (H {body.h_mag[0]:.1f}, "
                f"{body.taxonomy[0] or 'class unknown'}, U {body.u_code[0]}): release "
                f"{iso_tdb(shown['release_jd_tdb'])[:10]}, encounter {iso_tdb(shown['encounter_jd_tdb'])[:10]}, "
                f"{shown['burn_m_s']:.1f} m/s, {shown['v_rel_km_s']:.2f} km/s; {judged['reason_text']}",
            )
        )
    return Step("1 Probes", tuple(lines) or (("none", "nothing flies"),))


def _marginal_step(flown: _Flown) -> Step:
    """What each probe adds to the plan as it stands: the plan's values less those without it."""
    plan, count = flown.plan, len(flown.plan)
    variants = np.repeat(plan[None, :], count + 1, axis=0)
    variants[np.arange(count), np.arange(count)] = -1
    values = evaluate(variants, flown.data)
    success = flown.data.hardware * flown.data.data_return
    lines = [
        (
            f"probe {k}",
            f"science {values[-1, 0] - values[k, 0]:+.4f}, risk {values[-1, 2] - values[k, 2]:+.4f}, "
            f"propellant {flown.data.propellant_kg[plan[k]]:.3f} kg, P(any data) {success[plan[k]]:.3f}",
        )
        for k in range(count)
    ]
    return Step("2 What each probe adds", tuple(lines) or (("none", "nothing flies"),))


def _plan_rows_step(study: Study, flown: _Flown) -> Step:
    counts = row_counts(flown.plan, flown.data)
    lines = []
    for k, row in enumerate(study.science.rows):
        chances = counts[k]
        number = np.arange(len(chances))
        mean = float(np.minimum(number, row.baseline) @ chances)
        enough = float(chances[number >= min(row.threshold, len(chances) - 1)].sum())
        needed = f"P(>= threshold {row.threshold}) {enough:.4f}" if row.threshold else "no threshold"
        full = float(chances[number >= row.baseline].sum())
        lines.append(
            (
                f'"{row.name}"',
                f"{mean:.2f} of {row.baseline} expected, adds {flown.data.weight[k] * mean / row.baseline:.4f}; "
                f"{needed}, P(>= baseline) {full:.4f}",
            )
        )
    return Step("3 Rows", tuple(lines))


def _shared_step(tables: _Tables, flown: _Flown) -> Step:
    study, data = tables.study, flown.data
    groups = shared_groups(
        study.survival,
        column(flown.table, "release_jd_tdb"),
        flown.relayed,
        designs=design_names(study, flown.table),
    )
    common = group_failures(flown.plan, data.hardware, data.group_mask, data.group_fraction)
    lines = []
    for g, name in enumerate(groups.names):
        members = [k for k, o in enumerate(flown.plan) if groups.mask[o] >> g & 1]
        without = np.where(np.isin(np.arange(len(flown.plan)), members), -1, flown.plan)
        left = evaluate([without], data)[0]
        lines.append(
            (
                name,
                f"{len(members)} probes, P(lost together) {common[g]:.4f}; then science {left[0]:.4f}, "
                f"risk {left[2]:.4f}",
            )
        )
    for fraction in _SHARED_FRACTIONS:
        changed = data._replace(
            group_mask=np.ones_like(data.group_mask),
            group_fraction=np.array([fraction]),
            shared_fraction=fraction,
        )
        science, _, risk = evaluate([flown.plan], changed)[0]
        none = measures([flown.plan], changed).p_none[0]
        lines.append(
            (
                f"were {fraction:g} shared by all",
                f"science {science:.4f}, risk {risk:.4f}, P(none) {none:.1e}",
            )
        )
    return Step("4 Shared failures", tuple(lines))


def _pairs_step(flown: _Flown, targets: Catalogue) -> list[Step]:
    """Pairs on one target, none where there are none: what they add, and the break-even."""
    pairs = pairs_of(flown.plan, flown.data, flown.rules)
    lines = []
    for pair in pairs:
        body = targets.take([int(flown.data.target[flown.plan[pair.first]])])
        names = column(flown.table, "target") if pair.other >= 0 else np.array([])
        instead = (
            f"the best other encounter, opportunity {flown.table['opportunity'][pair.other].as_py()} at "
            f"{names[pair.other]}, would add {pair.science_other - pair.science_alone:.4f}"
            if pair.other >= 0
            else "no other encounter fits"
        )
        lines.append(
            (
                f"probes {pair.first} and {pair.second} at {_named(body)}",
                f"the second adds {pair.science_pair - pair.science_alone:.4f}; {instead}: the pair "
                f"{'stands' if pair.stands else 'loses'}. Break-even: the target must be worth "
                f"{pair.break_even:.2f} times the other",
            )
        )
    return [Step("5 Two probes at one target", tuple(lines))] if lines else []


def _budget_step(study: Study, flown: _Flown) -> Step:
    own = flown.table.take(flown.plan)
    dv99, hours = (column(flown.judged, name)[flown.plan] for name in ("dv99_m_s", "downlink_h"))
    kilograms = flown.data.propellant_kg[flown.plan]
    lines: list[tuple[str, str]] = []
    for alone, rows, table in each_design(study, own):
        if len(rows) or not study.designs:
            lines += _design_lines(alone, table, dv99[rows], kilograms[rows])
    lines.append(("transmitting", f"{float(np.nansum(hours)):.0f} h in all"))
    return Step("6 Budgets", tuple(lines))


def _design_lines(
    study: Study, table: pa.Table, dv99: NDArray[np.float64], kilograms: NDArray[np.float64]
) -> list[tuple[str, str]]:
    """Budgets of the probes of one design; its name stands in the lines where there are several."""
    masses, count = probe_masses(study), table.num_rows
    spent = ledger(planned_m_s(table), probe=study.probe, margins=study.margins, correction_m_s=dv99)
    most = float(spent.total_m_s.max(initial=0.0))
    of = f" of {study.probe.name}" if isinstance(study.probe, DesignSettings) else ""
    return [
        (f"most delta-v{of}", f"{most:.1f} m/s of {carried_m_s(study):.1f} m/s carried, margins included"),
        (
            f"propellant{of}",
            f"{float(kilograms.sum()):.3f} kg consumed, {count * masses.loaded_kg:.3f} kg loaded",
        ),
        (f"probes{of}", f"{count} x {masses.wet_kg:g} kg = {count * masses.wet_kg:.1f} kg wet"),
    ]


def _observing_step(run: Run, flown: _Flown) -> Step:
    """Lines of the astronomers' list for the targets of the plan, the most helpful first."""
    title = "7 What astronomers could help with before release"
    if not run.has("observe"):
        return Step(title, (("list", "the run has none"),))
    names = set(column(flown.table, "target")[flown.plan].tolist()) if len(flown.plan) else set()
    asked = [row for row in run.read_table("observe").to_pylist() if row["target"] in names]
    return Step(
        title, tuple((row["target"], observing_line(row)) for row in asked) or (("none", "nothing flies"),)
    )


def observing_line(row: dict[str, Any]) -> str:
    """Return a row of the astronomers' list in words."""
    if np.isfinite(row["brightest_mag"]):
        when = (
            f"{row['days_seen']:.0f} d between {iso_tdb(row['first_seen_jd_tdb'])[:10]} and "
            f"{iso_tdb(row['last_seen_jd_tdb'])[:10]}, best V {row['brightest_mag']:.1f} on "
            f"{iso_tdb(row['brightest_jd_tdb'])[:10]}"
        )
    else:
        when = "never within the limits before its first release"
    if row["sigma_improved_km"] < row["sigma_km"]:
        gain = (
            f"better orbit: {row['sigma_km']:.0f} -> {row['sigma_improved_km']:.0f} km, success "
            f"{row['success']:.3f} -> {row['success_improved']:.3f}, science {row['science_gained_orbit']:+.4f}"
        )
    else:
        gain = f"orbit known as well as the uncertainty U can say, {row['sigma_km']:.0f} km"
    colours = "" if row["class"] else f"; colours: science {row['science_gained_class']:+.4f}"
    return f"{gain}{colours}; observable {when}"
