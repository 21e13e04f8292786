"""Two or more run folders side by side: what was assumed differently, and what that did to the answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from swarm.decide.summary import select_plan
from swarm.encounter.propellant import all_tanks_kg
from swarm.optimize.epochs import Measure
from swarm.optimize.search import REFERENCE
from swarm.plan.budgets import flown_of_front, swarm_masses
from swarm.run.folder import Run
from swarm.run.questions import question
from swarm.run.tables import lines as table_lines
from swarm.run.tables import parquet_tables
from swarm.run.tables.declaration import Table, text
from swarm.study.schema import Study, study_rows
from targets.base.errors import InputError

_ABSENT = "not there"
_SETTINGS = Table(
    "settings",
    "every run",
    "a value of a study as understood",
    (
        text("run", "the run's label"),
        text("key", "key of the study"),
        text("value", "its value"),
        text("unit", "its unit"),
        text("source", "where it is from"),
    ),
)


@dataclass(frozen=True)
class Comparison:
    """labels: of the runs, in the order given; the first is what the others are compared with.

    differing : a row a difference of the assumptions: kind (key, input, version, seed), name, and a column a run
    answers   : a row a run: what came out (see `answers_of`)
    skipped   : of what was given but is no run with a front: its name and why
    """

    labels: tuple[str, ...]
    differing: pa.Table
    answers: pa.Table
    skipped: tuple[str, ...] = ()


def compare_runs(folders: Sequence[str | Path]) -> Comparison:
    """Compare finished runs; what is no run with a front is left out and named.

    Raises InputError where fewer than two are left.
    """
    kept, skipped = finished(folders)
    if len(kept) < 2:
        left = "".join(f"; left out: {text}" for text in skipped)
        raise InputError(
            "nothing to compare with",
            found=f"{len(kept)} run folders with a front{left}",
            expected="two or more",
            do="finish a run with: swarm run --resume",
        )
    runs = {label: Run.open(folder) for label, folder in labelled(kept).items()}
    return Comparison(tuple(runs), _differing(runs), answers_of(runs), skipped)


def finished(folders: Sequence[str | Path]) -> tuple[list[Path], tuple[str, ...]]:
    """Return the folders that hold a run with a front, and of the others their name with the reason."""
    kept, skipped = [], []
    for folder in map(Path, folders):
        if not (folder / "manifest.json").is_file():
            skipped.append(f"{folder.name} is no run folder")
        elif not Run.open(folder).has("front"):
            skipped.append(f"{folder.name} has no front yet")
        else:
            kept.append(folder)
    return kept, tuple(skipped)


def draw_fronts(folders: Sequence[str | Path], path: Path | None) -> Path | None:
    """Draw the fronts of runs on one figure, as PNG, SVG and CSV; return the PNG.

    path : where, without or with an ending. None: `fronts-compared` in the folder that holds all of the runs (a batch
    keeps `fronts` there for its own), and nothing where there is no such folder
    """
    from swarm.report.fronts_together import fronts_figure
    from swarm.report.paint import paint_figure

    runs = labelled(finished(folders)[0])
    parents = {folder.resolve().parent for folder in runs.values()}
    if path is None and len(parents) > 1:
        return None
    place = parents.pop() / "fronts-compared" if path is None else path.parent / path.stem
    fronts = {label: Run.open(folder).read_table("front") for label, folder in runs.items()}
    paint_figure(fronts_figure(fronts, name=place.name), place.parent)
    return place.with_name(f"{place.name}.png")


def labelled(folders: Sequence[str | Path]) -> dict[str, Path]:
    """Folders by a short label: the last part of the path that tells them apart."""
    paths = [Path(folder) for folder in folders]
    names = [path.resolve().name for path in paths]
    if len(set(names)) < len(names):
        names = [str(path) for path in paths]
    if len(set(names)) < len(names):
        raise InputError(
            "the same run folder is given twice", found=", ".join(names), expected="different folders"
        )
    return dict(zip(names, paths, strict=True))


# --- what was assumed ---------------------------------------------------------------------------------------


def _differing(runs: Mapping[str, Run]) -> pa.Table:
    """Every key, hash and version that is not the same in all runs.

    The hash of the study file itself is left out: its keys are compared one by one.
    """
    kinds = {
        "key": [_keys(run.study) for run in runs.values()],
        "input": [
            {name: value for name, value in run.manifest["inputs"].items() if name != "study"}
            for run in runs.values()
        ],
        "version": [_versions(run) for run in runs.values()],
    }
    rows = []
    for kind, known in kinds.items():
        for name in dict.fromkeys(name for each in known for name in each):
            values = [str(each.get(name, _ABSENT)) for each in known]
            if len(set(values)) > 1:
                rows.append((kind, name, *values))
    names = ("kind", "name", *runs)
    return pa.table({name: pa.array([row[k] for row in rows], pa.string()) for k, name in enumerate(names)})


def _keys(study: Study) -> dict[str, str]:
    return {key: value for key, value, _, _ in study_rows(study)}


def _versions(run: Run) -> dict[str, str]:
    told = {
        "tool": run.manifest["tool"],
        "python": run.manifest["python"],
        "processor": run.manifest["processor"],
    }
    return told | {name: str(found) for name, found in run.manifest["libraries"].items()}


# --- what came out ------------------------------------------------------------------------------------------


def answers_of(runs: Mapping[str, Run]) -> pa.Table:
    """Return a row a run: what was in reach, the front, and the plan that its own study's rule selects.

    hypervolume      : of the front under one reference point for all runs: propellant is counted as a share
                       of the fullest swarm among them
    targets_retained : share of the first run's targets that are in reach here too
    plan_targets_kept: share of the targets of the first run's selected plan that this run's plan visits
    """
    full_kg = max(_full_kg(run.study) for run in runs.values())
    rows = [_answer(label, run, full_kg) for label, run in runs.items()]
    first_targets, first_visited = rows[0]["_targets"], rows[0]["_visited"]
    for row in rows:
        row["targets_retained"] = _share(first_targets, row.pop("_targets"))
        row["plan_targets_kept"] = _share(first_visited, row.pop("_visited"))
    return pa.Table.from_pylist(rows)


def _share(of: set[str], among: set[str]) -> float:
    return len(of & among) / len(of) if of else 1.0


def _full_kg(study: Study) -> float:
    return max(all_tanks_kg(study, study.probe.count), 1e-9)


def _mass_kg(study: Study, front: pa.Table, plan: int) -> float:
    """Probes flown and dispensers, with margins."""
    place = front["plan"].to_pylist().index(plan)
    return float(swarm_masses(study, flown_of_front(study, front)[place : place + 1]).maximum_kg[0])


def _answer(label: str, run: Run, full_kg: float) -> dict[str, Any]:
    front, plans, opportunities = (run.read_table(name) for name in ("front", "plans", "opportunities"))
    chosen, met = select_plan(front, run.study)
    plan = next(row for row in front.to_pylist() if row["plan"] == chosen)
    names = dict(zip(*(opportunities[name].to_pylist() for name in ("opportunity", "target")), strict=True))
    visited = {names[row["opportunity"]] for row in plans.to_pylist() if row["plan"] == chosen}
    science, kg, risk = (front[name].to_numpy() for name in ("science", "propellant_kg", "risk"))
    measure = Measure(np.array([1.0, full_kg, 1.0]), REFERENCE)
    return {
        "run": label,
        "targets": len(set(names.values())),
        "opportunities": opportunities.num_rows,
        "plans": front.num_rows,
        "hypervolume": measure(np.column_stack([-science, kg, risk])),
        "science_best": float(science.max()),
        "plan": chosen,
        "rule_met": met,
        "probes": plan["probes"],
        "science": plan["science"],
        "propellant_kg": plan["propellant_kg"],
        "mass_with_margins_kg": _mass_kg(run.study, front, chosen),
        "risk": plan["risk"],
        "_targets": set(names.values()),
        "_visited": visited,
    }


# --- said in lines, and asked -------------------------------------------------------------------------------


def lines(comparison: Comparison) -> list[str]:
    """What differs and what came out, for people."""
    said = [f"left out: {', '.join(comparison.skipped)}"] if comparison.skipped else []
    said.append(f"{comparison.differing.num_rows} differences in what was assumed:")
    for row in comparison.differing.to_pylist():
        values = ", ".join(f"{label}: {row[label]}" for label in comparison.labels)
        said.append(f"  {row['kind']} {row['name']}: {values}")
    said.append("the answers (changes are against the first):")
    first, *others = comparison.answers.to_pylist()
    said.append(f"  {_answer_line(first)}")
    for row in others:
        said.append(f"  {_answer_line(row)}")
        said.append(f"    {_change_line(first, row)}")
    return said


def _answer_line(row: dict[str, Any]) -> str:
    return (
        f"{row['run']}: {row['targets']} targets, {row['opportunities']} opportunities, front of {row['plans']} "
        f"plans with hypervolume {row['hypervolume']:.4f}; plan {row['plan']}: {row['probes']} probes, science "
        f"{row['science']:.3f}, propellant {row['propellant_kg']:.3f} kg, risk {row['risk']:.3f}"
    )


def _change_line(first: dict[str, Any], row: dict[str, Any]) -> str:
    change = {name: row[name] - first[name] for name in ("hypervolume", "science", "propellant_kg", "risk")}
    return (
        f"hypervolume {change['hypervolume']:+.4f}, science {change['science']:+.3f}, propellant "
        f"{change['propellant_kg']:+.3f} kg, risk {change['risk']:+.3f}; {100 * row['targets_retained']:.0f} % of "
        f"the first's targets still in reach, {100 * row['plan_targets_kept']:.0f} % of its plan's still visited"
    )


def ask(folders: Sequence[str | Path], sql: str) -> pa.Table:
    """Ask SQL across runs; tables as in `schema_lines`, each with the run's label in column `run`."""
    folders = finished(folders)[0]
    return question(labelled(folders), sql, more=_settings(folders))


def schema_lines(folders: Sequence[str | Path]) -> list[str]:
    """Return the tables that `ask` knows for these folders, as declared: each column with type, unit and sentence."""
    paths = list(labelled(finished(folders)[0]).values())
    tables = [
        table
        for table in parquet_tables().values()
        if table.extends is None and any((path / table.file).is_file() for path in paths)
    ]
    return ["every table has a first column run: the run's label", *table_lines([*tables, _SETTINGS])]


def _settings(folders: Sequence[str | Path]) -> dict[str, pa.Table]:
    """The study of every run as a table: run, key, value, unit, source."""
    rows = [
        {"run": label, "key": key, "value": value, "unit": unit, "source": source}
        for label, folder in labelled(folders).items()
        for key, value, unit, source in study_rows(Run.open(folder).study)
    ]
    return {"settings": pa.Table.from_pylist(rows)}
