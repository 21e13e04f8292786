"""Kinds of encounter: what a stage does with one stands here and nowhere else.

Search, bound, counts, recourse, sensitivities and page see chances, propellant, dates and linear limits of rows,
whatever their kind; what differs is looked up in this table. Functions are named, not imported, as the stages' are:
rooms import from above only, and a kind's screen, judgement and refinement live in different rooms.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from swarm.study.schema import Study

FLYBY = "flyby"


@dataclass(frozen=True)
class Kind:
    """One kind of encounter; functions as "module:name".

    name    : as in `where.kind`, in `takes` and in the column `kind`
    screen  : screen(study, catalogue, *, pool, on_done, gpu) -> Screening, whose rows are of this kind
    judge   : judge(study, opportunities, targets, *, qualities) -> Judged; a row is judged alone, and by one design
    refine  : refine(study, field, arc) -> Refined or NotRefined, of one design
    explain : explain(study, opportunity, judged, body) -> steps on geometry and aim, of one design
    draw    : draw(study, opportunities, judged) -> table `aims`
    """

    name: str
    screen: str
    judge: str
    refine: str
    explain: str
    draw: str

    def function(self, what: str) -> Callable[..., Any]:
        """The function of a field, such as "judge"."""
        module, _, name = getattr(self, what).partition(":")
        found: Callable[..., Any] = getattr(import_module(module), name)
        return found


ENCOUNTERS = {
    kind.name: kind
    for kind in (
        Kind(
            FLYBY,
            screen="swarm.reach.opportunities:screen",
            judge="swarm.encounter.judging:judge",
            refine="swarm.refine.correct:refine_arc",
            explain="swarm.decide.explain:flyby_steps",
            draw="swarm.report.drawn:aim_rings",
        ),
    )
}


def kinds_of(study: Study) -> tuple[Kind, ...]:
    """The kinds that some row asks for and some design takes, in the order of the table."""
    asked = {row.where.kind for row in study.science.rows}
    taken = {kind for design in study.designs for kind in design.takes} if study.designs else asked
    return tuple(kind for name, kind in ENCOUNTERS.items() if name in asked & taken)
