"""The surface for scripts and notebooks: the stages as functions, and what a run folder holds as tables.

    import swarm

    run = swarm.screen("study.toml", "out/first")
    run = swarm.optimize(run)
    run.front.to_pandas()

Reached as `swarm.screen` and so on. The stages are those of the command line, write the same files, and raise
`InputError` or `NothingFeasible` with the same sentences.

Workers. The answer does not depend on `workers`. One, the default here, computes in this process; with more, a
script must keep its calls under `if __name__ == "__main__":`, since each new process reads the script again.
"""

from __future__ import annotations

import tempfile
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow as pa
import tomli_w

from swarm.run.folder import Run
from swarm.run.questions import question
from swarm.study.schema import Study, study_from
from swarm.study.schema import read_study as read_study_file
from targets.base.errors import InputError, NothingFeasible

if TYPE_CHECKING:
    from swarm.app.pipeline import Options
    from swarm.decide.what_if import WhatIf

__all__ = [
    "InputError",
    "NothingFeasible",
    "Results",
    "Study",
    "compare",
    "hand_off",
    "open_run",
    "optimize",
    "read_study",
    "refine",
    "screen",
    "what_if",
]


@dataclass(frozen=True)
class Results:
    """What a run folder holds, for reading: each table by its name (`run.front`), as an Arrow table.

    An Arrow table becomes a pandas frame by `.to_pandas()` and a polars frame by `polars.from_arrow(...)`. Columns
    carry their units in their names; the README says what a row is. Everything is read anew each time.
    """

    folder: Path

    @property
    def study(self) -> Study:
        """The study as it was run."""
        return Run.open(self.folder).study

    @property
    def manifest(self) -> dict[str, Any]:
        """Versions, hashes of the inputs, seed, warnings, what each stage did; JSON types."""
        return Run.open(self.folder).manifest

    @property
    def plan(self) -> int | None:
        """Number of the plan that the study's rule chose from the front; None where no plan flies a probe."""
        from swarm.refine.whole_plan import chosen_plan

        return chosen_plan(self.table("front"), self.table("plans"), study=self.study)

    def tables(self) -> tuple[str, ...]:
        """Names of the tables that are there."""
        return tuple(sorted(path.stem for path in self.folder.glob("*.parquet")))

    def table(self, name: str) -> pa.Table:
        """A table by its name; InputError names those that are there."""
        if name not in self.tables():
            known = ", ".join(self.tables()) or "no tables yet"
            raise InputError("no such table in this run", file=self.folder, found=name, expected=known)
        return Run.open(self.folder).read_table(name)

    def sql(self, asked: str) -> pa.Table:
        """Ask SQL (DuckDB's); each table that is there is a table of the question.

        Example: run.sql("select target, min(burn_m_s) from opportunities group by target")
        """
        return question({}, asked, more={name: self.table(name) for name in self.tables()})

    def __getattr__(self, name: str) -> pa.Table:
        if name.startswith("_") or name not in self.tables():
            raise AttributeError(f"this run has no table {name!r}; it has {', '.join(self.tables())}")
        return self.table(name)

    def __dir__(self) -> list[str]:
        return [*super().__dir__(), *self.tables()]


def read_study(path: str | Path, *, changes: Mapping[str, Any] | None = None) -> Study:
    """Read a study file.

    Parameters
    ----------
    path    : the TOML file
    changes : values to put in place of the file's, by dotted key: {"probe.count": 6, "science.rows[0].weight": 2.0}

    Raises InputError with every problem found, of the file or of the changes.
    """
    from swarm.app.batch import set_key

    path = Path(path)
    study = read_study_file(path)
    if not changes:
        return study
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    for key, value in changes.items():
        set_key(data, key, value, file=path, place=f"changes: {key}")
    return _with_base(study_from(data, file=f"{path}, with changes"), study.base)


def screen(
    study: Study | str | Path,
    run_dir: str | Path,
    *,
    workers: int = 1,
    scheduler: str | None = None,
    seed: int | None = None,
    resume: bool = False,
) -> Results:
    """Find every burn by which a probe meets a body: catalogue and mothership -> tables `opportunities`, `targets`.

    Parameters
    ----------
    study     : a study, or its file
    run_dir   : new or empty folder for the results
    workers   : processes; see the head of this module
    scheduler : address of a running Dask scheduler, used instead of workers
    seed      : instead of the study's; recorded
    resume    : go on in a folder that holds results

    Raises InputError for what cannot be used, NothingFeasible where nothing is in reach.
    """
    from swarm.app.pipeline import run_screen

    if not isinstance(study, Study):
        options = _options(workers, scheduler, seed=seed, resume=resume)
        return _results(run_screen(Path(study), Path(run_dir), options))
    options = _options(workers, scheduler, seed=seed, resume=resume, base=study.base)
    with tempfile.TemporaryDirectory(prefix="swarm-study-") as folder:
        path = Path(folder) / "study.toml"
        path.write_text(study_text(study), encoding="utf-8")
        return _results(run_screen(path, Path(run_dir), options))


def optimize(
    run: Results | str | Path,
    *,
    workers: int = 1,
    scheduler: str | None = None,
    seed: int | None = None,
    resume: bool = False,
) -> Results:
    """Search the plans of which none is worse in science, propellant and risk at once: -> `front`, `plans`, `bound`.

    run : of `screen`, or its folder; the rest as for `screen`
    """
    from swarm.app.pipeline import run_one

    return _results(run_one("optimize", _folder(run), _options(workers, scheduler, seed=seed, resume=resume)))


def compare(
    run: Results | str | Path, *, workers: int = 1, scheduler: str | None = None, resume: bool = False
) -> Results:
    """Search a front for each probe count of the study, and price the chosen plan: -> `counts`, budgets.

    run : of `optimize`, or its folder; the rest as for `screen`
    """
    from swarm.app.pipeline import run_one

    return _results(run_one("compare", _folder(run), _options(workers, scheduler, resume=resume)))


def sensitivity(
    run: Results | str | Path, *, workers: int = 1, scheduler: str | None = None, resume: bool = False
) -> Results:
    """Change one assumption at a time and plan again: -> `sensitivity`, `left_out`, `risk_table`.

    run : of `optimize`, or its folder, of a study with a section [sensitivity]; the rest as for `screen`
    """
    from swarm.app.pipeline import run_one

    return _results(run_one("sensitivity", _folder(run), _options(workers, scheduler, resume=resume)))


def refine(
    run: Results | str | Path,
    plan: int | None = None,
    *,
    workers: int = 1,
    scheduler: str | None = None,
    resume: bool = False,
) -> Results:
    """Fly a plan under all forces to its aim points, and disperse it: -> `refined`.

    plan : a number of `front`; the one the study's rule chooses unless given
    run  : of `optimize`, or its folder; the rest as for `screen`
    """
    from swarm.app.pipeline import run_one

    number = _plan(run, plan)
    return _results(run_one("refine", _folder(run), _options(workers, scheduler, resume=resume), plan=number))


def hand_off(
    run: Results | str | Path,
    plan: int | None = None,
    *,
    workers: int = 1,
    scheduler: str | None = None,
) -> Results:
    """Write a plan's messages, ephemerides and tables for other people's tools into the folder's `handoff/`.

    plan : a number of `front`; unless given the one that was refined, else the one the study's rule chooses
    run  : of `optimize` or `refine`, or its folder; the rest as for `screen`

    Concept-study figures: not for operations; see the package's README.txt.
    """
    from swarm.app.pipeline import run_one

    number = _plan(run, _refined_plan(run) if plan is None else plan)
    return _results(run_one("handoff", _folder(run), _options(workers, scheduler), plan=number))


def open_run(run_dir: str | Path) -> Results:
    """Return what a run folder holds; InputError where there is no run, or one of another version of the tables."""
    return _results(Run.open(run_dir))


def what_if(
    run: Results | str | Path,
    *,
    weights: Mapping[str, float] | None = None,
    thresholds: Mapping[str, int] | None = None,
    success: float | None = None,
) -> WhatIf:
    """Count the plans of a front anew under other weights, thresholds or chances; nothing is searched.

    run                 : of `optimize`, or its folder
    weights, thresholds : of rows of the study, by their names: {"dark": 2.0}
    success             : the chance that a probe works, where the study has one for all

    Returns an object with `front` (a row a plan: science, risk, as they were, and whether it is beaten now), `plan`,
    the number of the one that the rule chooses now, and `study`. A search may find better plans: `swarm run --from`.
    """
    from swarm.decide.what_if import what_if as counted_anew

    return counted_anew(Run.open(_folder(run)), weights=weights, thresholds=thresholds, success=success)


def study_text(study: Study) -> str:
    """Return a study file that is read as `study`: the keys that were given, in TOML.

    Raises InputError where the study holds values that no study file may hold.
    """
    given = study.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude_none=True)
    text = tomli_w.dumps(given)
    if study_from(tomllib.loads(text)).model_dump() != study.model_dump():
        raise InputError("the study cannot be written as a file", expected="values as read by read_study")
    return text


def _results(run: Run) -> Results:
    # a script may change its folder between two questions
    return Results(run.folder.absolute())


def _folder(run: Results | str | Path) -> Path:
    return run.folder if isinstance(run, Results) else Path(run)


def _plan(run: Results | str | Path, plan: int | None) -> int:
    if plan is not None:
        return plan
    chosen = open_run(_folder(run)).plan
    if chosen is None:
        raise NothingFeasible("nothing to fly", limit="no plan of the front flies a probe")
    return chosen


def _refined_plan(run: Results | str | Path) -> int | None:
    held = open_run(_folder(run))
    return held.manifest["notes"]["refined"]["plan"] if "refined" in held.tables() else None


def _with_base(study: Study, base: Path) -> Study:
    study._base = base
    return study


def _options(
    workers: int,
    scheduler: str | None,
    *,
    seed: int | None = None,
    resume: bool = False,
    base: Path | None = None,
) -> Options:
    # the stages bring every library along, so that reading a finished run does not wait for them
    from swarm.app.pipeline import Options

    return Options(workers, scheduler, seed, resume, base=base)
