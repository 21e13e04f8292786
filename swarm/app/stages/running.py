"""How any stage is run: what resuming keeps, what an older run gives, what is removed, and how it is marked."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from swarm.app.stages.record import Stage, Work, hanging_on
from swarm.app.stages.taking import taken_over
from swarm.run.folder import Run, require_free
from targets.base.errors import NothingFeasible


def run_stage(stage: Stage, work: Work, stages: Sequence[Stage]) -> bool:
    """Run a stage unless resuming finds it done from these very inputs; whether it was run.

    Raises InputError where the study does not ask for it, or where the folder holds its results without `resume`.
    """
    if (lack := stage.lacking(work.run)) is not None:
        raise lack
    work.run.require_as_left(stage.upstream(stages))
    inputs = stage.inputs(work, stages)
    if work.options.resume and work.run.finished(stage.name, inputs):
        work.teller.say(f"{stage.name}: done before, kept")
        return False
    if work.options.resume and (changed := work.run.changed(stage.name)):
        work.teller.say(f"{stage.name}: made again: files have changed: {_few(changed)}")
    require_free(work.run.folder, resume=work.options.resume, tables=stage.results())
    later = hanging_on(stage, stages)
    stale = [name for each in (stage, *later) for name in each.makes]
    undone = [each.name for each in later]
    with marked(work.run, stage.name, inputs, stale=stale, makes=stage.makes, undone=undone):
        if not taken_over(stage, work, stages):
            stage.work(work)
    return True


def _few(names: list[str]) -> str:
    return ", ".join([*names[:3], *([f"and {len(names) - 3} more"] if len(names) > 3 else [])])


@contextmanager
def marked(
    run: Run,
    name: str,
    inputs: str,
    *,
    stale: Sequence[str],
    makes: Sequence[str],
    undone: Sequence[str] = (),
) -> Iterator[None]:
    """Mark a stage running, then done or why not; the time it took is kept either way.

    stale  : files to be removed first: its own, and those of the stages that hang on it, which are `undone`
    """
    begun = time.monotonic()
    run.begin(name, inputs, makes=stale, undone=undone)
    status = "stopped"
    try:
        yield
        status = "done"
    except NothingFeasible as limit:
        status = f"nothing feasible: {limit.limit}"
        raise
    finally:
        run.finish(name, status, seconds=time.monotonic() - begun, makes=makes)
