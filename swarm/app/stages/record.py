"""What a stage is: what it needs, what it makes, and the function between.

The command line, the surface for scripts, `--resume`, what is removed when something is made again, and `swarm run`
are all driven by these records. What a stage makes is read from the declarations of the tables (`swarm.run.tables`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from swarm.app.stages.reads import READS
from swarm.run.tables import PARQUET, companions, made_by

if TYPE_CHECKING:
    # a stage brings its libraries along when it is run; until then the command line does not wait for them
    import pyarrow as pa

    from swarm.reach.opportunities import Screening
    from swarm.run.folder import Run
    from swarm.run.progress import Teller
    from swarm.run.workers import Pool
    from swarm.study.schema import Study
    from targets.base.errors import InputError
    from targets.catalogue.bodies import Catalogue
    from targets.catalogue.reading import Reading

WORKERS, SEED, RESUME, PLAN, GPU = "workers", "seed", "resume", "plan", "gpu"


@dataclass(frozen=True)
class Options:
    """What the command line may set; nothing of it changes the answer but the seed."""

    workers: int | None = None
    scheduler: str | None = None
    seed: int | None = None
    resume: bool = False
    gpu: bool = False  # the screen's filter runs on one
    base: Path | None = None  # what paths in the study start from, where that is not the study file's folder


@dataclass
class Work:
    """A run that stages work on, and what they work with.

    reading   : the study's catalogue as read, where it was read in this process
    screening : the screen of this study, where it was made together with others
    plan      : number of the plan to refine and to hand over
    old       : an older run, of which what has not changed is taken over
    """

    run: Run
    options: Options
    pool: Pool
    teller: Teller
    reading: Reading | None = None
    screening: Screening | None = None
    plan: int | None = None
    old: Run | None = None

    def of_run(self, run: Run) -> Work:
        """The same work on another run; nothing of this one's study is at hand there."""
        return Work(run, self.options, self.pool, self.teller, plan=self.plan)

    @property
    def study(self) -> Study:
        return self.run.study

    def table(self, name: str) -> pa.Table:
        """A table of the run, with the rows that continue it."""
        return self.run.read_table(name)

    def targets(self) -> Catalogue:
        """The bodies that have opportunities, and after them the planets and moons that do."""
        return self.run.targets()


@dataclass(frozen=True)
class Stage:
    """One step from a study file to a package.

    name    : of the stage, of its command, and of its entry in the manifest
    says    : one line for people
    needs   : tables it reads; a table is read with those that continue it and come before this stage
    module  : module of `swarm.app.stages` that holds its function, `work_<name>(work)`, which writes what the
              declarations of the tables say that this stage makes
    options : what its command takes beside the run folder: WORKERS (and a scheduler), SEED, RESUME, PLAN, GPU
    lacking : what a study has to say for this stage to have something to do; None where it does
    more    : what else its answer hangs on, as text
    """

    name: str
    says: str
    needs: tuple[str, ...]
    module: str
    options: tuple[str, ...] = (WORKERS, RESUME)
    lacking: Callable[[Run], InputError | None] = lambda run: None
    more: Callable[[Work], str] = lambda work: ""

    def work(self, work: Work) -> None:
        getattr(import_module(f"swarm.app.stages.{self.module}"), f"work_{self.name}")(work)

    @property
    def makes(self) -> tuple[str, ...]:
        """Files and folders it leaves in the run folder."""
        return tuple(made.file for made in made_by(self.name))

    def inputs(self, work: Work, stages: Sequence[Stage]) -> str:
        """Hash of all its answer hangs on; `stages` in order."""
        return f"{self.more(work)} {work.run.fingerprint(self.upstream(stages))}".strip()

    @property
    def reads(self) -> tuple[str, ...]:
        """Keys of the study that its tables hang on; none where what it makes is of this run only."""
        return READS.get(self.name, ())

    def upstream(self, stages: Sequence[Stage]) -> tuple[str, ...]:
        """What it needs, with the rows that continue it once stages before this one have been run."""
        before = {made.name for earlier in stages[: stages.index(self)] for made in made_by(earlier.name)}
        names = [name for need in self.needs for name in (need, *(more.name for more in companions(need)))]
        return tuple(name for name in names if name in before)

    def results(self) -> tuple[str, ...]:
        """Names of the tables whose presence means that the folder holds its results."""
        return tuple(made.name for made in made_by(self.name) if made.form == PARQUET)


def hanging_on(stage: Stage, stages: Sequence[Stage]) -> tuple[Stage, ...]:
    """The stages that read, directly or not, what `stage` makes, in order."""
    changed = {made.name for made in made_by(stage.name)}
    hanging = []
    for later in stages[stages.index(stage) + 1 :]:
        read = {name for need in later.needs for name in (need, *(more.name for more in companions(need)))}
        if read & changed:
            hanging.append(later)
            changed |= {made.name for made in made_by(later.name)}
    return tuple(hanging)
