"""Whether a study asks for a stage, and what a stage hangs on beside the tables of the run."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from targets.base.errors import InputError

if TYPE_CHECKING:
    from swarm.app.stages.record import Work
    from swarm.run.folder import Run
    from swarm.study.schema import Study


def no_counts(run: Run) -> InputError | None:
    """What is missing for probe counts to be compared."""
    if run.study.compare.counts:
        return None
    return InputError(
        "the study names no probe counts",
        file=run.folder / "study.toml",
        place="compare.counts",
        expected="probe counts such as [0, 4, 8, 12]",
    )


def no_sensitivity(run: Run) -> InputError | None:
    """What is missing for assumptions to be changed."""
    if run.study.sensitivity is not None:
        return None
    return InputError(
        "the study does not say what to vary",
        file=run.folder / "study.toml",
        place="sensitivity",
        expected="a section [sensitivity]; its keys have defaults",
    )


def two_body(run: Run) -> InputError | None:
    """Why a plan cannot be flown: a mothership that feels no planets is on no path there is."""
    from swarm.refine.two_body import require_flyable

    try:
        require_flyable(run.study)
    except InputError as refusal:
        return refusal
    return None


def slip_hashes(study: Study) -> dict[str, str]:
    """Hash of each file of a slip."""
    from swarm.run.folder import sha256_of

    slips = () if study.sensitivity is None else study.sensitivity.slip_files
    return {slip.file: sha256_of(study.base / slip.file) or "no file" for slip in slips}


def slip_text(work: Work) -> str:
    """The files of slips that sensitivities hang on."""
    return " ".join(slip_hashes(work.study).values())


def plan_text(work: Work) -> str:
    """The plan that refinement and hand-off are of."""
    return f"plan {work.plan} of"


def passes_text(work: Work) -> str:
    """What a screen of passes hangs on beside its own keys: they are judged as they are found, for their impacts."""
    study = work.study
    if not study.approach:
        return ""
    sections = (
        study.study,
        study.probe,
        *study.designs,
        study.delivery,
        study.knowledge,
        study.margins,
        study.survival,
        study.protection,
        study.mothership,  # its mass, where it steers
    )
    return hashlib.sha256("".join(section.model_dump_json() for section in sections).encode()).hexdigest()
