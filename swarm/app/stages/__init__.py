"""Every stage, in the order of `swarm run`.

A new one is a record here, a function `work_<name>` in a module beside, its tables in `swarm.run.tables`, and, where
something is to be printed, its lines in `swarm.app.printed`. Its command and its place in `swarm run` follow.
"""

from __future__ import annotations

from swarm.app.stages.asked import no_counts, no_sensitivity, passes_text, plan_text, slip_text, two_body
from swarm.app.stages.record import GPU, PLAN, RESUME, SEED, WORKERS, Options, Stage, Work
from swarm.run.tables import DECLARED, PARQUET

_PLANNED = ("opportunities", "targets", "mothership", "judged", "corrections", "front", "plans")
_REFINEMENT = ("flown", "flown_corrections", "state_covariances", "trajectories", "not_refined")
_EVERYTHING = tuple(
    table.name
    for table in DECLARED
    if table.form == PARQUET and not (table.extends or table.widens or table.beside)
)

STAGES: tuple[Stage, ...] = (
    Stage(
        "screen",
        "Catalogue and mothership -> opportunities.",
        (),
        "screening",
        (WORKERS, SEED, RESUME, GPU),
        more=passes_text,
    ),
    Stage("judge", "Opportunities -> what each comes to.", ("opportunities", "targets"), "screening"),
    Stage(
        "optimize",
        "Opportunities -> front, beside a bound.",
        ("opportunities", "targets", "mothership", "judged", "corrections"),
        "planning",
        (WORKERS, SEED, RESUME),
    ),
    Stage(
        "compare",
        "One front per probe count, and what the next probe is worth.",
        _PLANNED,
        "deciding",
        lacking=no_counts,
    ),
    Stage(
        "account",
        "A plan's place in a team's spreadsheet: launch mass, cost, stations, releases, protection, outcomes.",
        (*_PLANNED, "counts"),
        "accounting",
    ),
    Stage(
        "sensitivity",
        "What the answer hangs on: one assumption changed at a time, and a 5x5 risk table.",
        _PLANNED,
        "deciding",
        lacking=no_sensitivity,
        more=slip_text,
    ),
    Stage(
        "refine",
        "A plan -> trajectories under all forces that hit their aim points, and what dispersion does to them.",
        _PLANNED,
        "refining",
        (PLAN, WORKERS, RESUME),
        lacking=two_body,
        more=plan_text,
    ),
    Stage(
        "handoff",
        "A plan -> messages, ephemerides and tables for other people's tools.",
        (*_PLANNED, "refined", *_REFINEMENT),
        "refining",
        (PLAN, WORKERS, RESUME),
        lacking=two_body,
        more=plan_text,
    ),
    Stage(
        "report", "Write the page of a run again, from what the folder holds.", _EVERYTHING, "reporting", ()
    ),
)
BY_NAME = {stage.name: stage for stage in STAGES}

__all__ = ["BY_NAME", "GPU", "PLAN", "RESUME", "SEED", "STAGES", "WORKERS", "Options", "Stage", "Work"]
