"""A mothership moved by the Sun alone is on no path that can be flown: what is said of it, and the refusal."""

from __future__ import annotations

from swarm.study.schema import Study
from targets.base.errors import InputError


def two_body_warning(study: Study) -> str | None:
    """A sentence for a study whose mothership feels no planets, None for any other."""
    if not _is_two_body(study):
        return None
    return (
        'mothership.motion = "kepler": without the planets its path is off by thousands of kilometres or more, so a '
        'plan can be searched but not refined or handed over; motion = "perturbed" can'
    )


def require_flyable(study: Study) -> None:
    """Raise InputError where the mothership's path cannot be flown under all forces."""
    if _is_two_body(study):
        raise InputError(
            "a plan on a two-body mothership cannot be refined",
            place="mothership.motion",
            found="kepler",
            expected='"perturbed": flown with the planets, its probes would miss by 5 000 to 150 000 km',
            do='set mothership.motion = "perturbed" and run the study again',
        )


def _is_two_body(study: Study) -> bool:
    return study.mothership.kind == "elements" and study.mothership.motion == "kepler"
