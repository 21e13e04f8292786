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

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.study.kind_names import ENTRY, FLYBY, LOW_PASS, ORBIT

if TYPE_CHECKING:
    from swarm.study.schema import Study


@dataclass(frozen=True)
class Kind:
    """One kind of encounter; functions as "module:name".

    name    : as in `where.kind`, in `takes` and in the column `kind`
    tables  : those that widen `opportunities` with what its rows are like
    place   : whether its targets are planets and moons: several probes may pass one, and no catalogue has it
    screen  : screen(studies, catalogue, *, pool, on_done, gpu) -> a Screening for each study, of rows of this kind
    none    : none(study, counts) -> the NothingFeasible that says why a screening found nothing, where that does not
    fits    : fits(where, opportunities, targets) -> (n,) rows that are what a science row asks for, of this kind
    judge   : judge(study, opportunities, targets, *, qualities) -> Judged; a row is judged alone, and by one design
    refine  : refine(study, field, arc) -> Refined or NotRefined, of one design
    explain : explain(study, opportunity, judged, body) -> steps on geometry and aim, of one design
    lacks   : lacks(where, row, body) -> in words, the keys of a science row that one encounter does not satisfy
    draw    : draw(study, opportunities, judged) -> table `aims`
    images  : images(study, opportunities, judged, targets) -> table `images`; "" where no target is seen whole
    follow  : follow(study, opportunities) -> tables by name: how rows that are drawn go, in time; "" for none
    """

    name: str
    tables: tuple[str, ...]
    place: bool
    screen: str
    none: str
    fits: str
    judge: str
    refine: str
    explain: str
    lacks: str
    draw: str
    images: str = ""
    follow: str = ""

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
            tables=(),
            place=False,
            screen="swarm.reach.opportunities:screen_together",
            none="swarm.reach.nothing_in_reach:nothing_found",
            fits="swarm.plan.asked:body_fits",
            judge="swarm.encounter.judging:judge",
            refine="swarm.refine.correct:refine_arc",
            explain="swarm.decide.explain:flyby_steps",
            lacks="swarm.decide.explain:why_no_flyby",
            draw="swarm.report.drawn:aim_rings",
            images="swarm.encounter.images:images_of_flybys",
        ),
        Kind(
            LOW_PASS,
            tables=("passes",),
            place=True,
            screen="swarm.encounter.pass_screen:screen_passes",
            none="swarm.encounter.pass_left_out:none_of_passes",
            fits="swarm.encounter.pass_table:pass_fits",
            judge="swarm.encounter.pass_judge:judge_low_passes",
            refine="swarm.refine.pass_kept:refine_pass",
            explain="swarm.decide.explain_pass:pass_steps",
            lacks="swarm.decide.explain_pass:why_no_pass",
            draw="swarm.report.drawn:pass_rings",
            follow="swarm.report.pass_drawn:pass_tables",
        ),
        Kind(
            ORBIT,
            tables=("passes", "orbits"),
            place=True,
            screen="swarm.encounter.orbit.orbit_screen:screen_orbits",
            none="swarm.encounter.orbit.orbit_screen:none_of_orbits",
            fits="swarm.encounter.orbit.orbit_tables:orbit_fits",
            judge="swarm.encounter.orbit.orbit_judge:judge_orbits_of_table",
            refine="swarm.refine.orbit_kept:refine_orbit",
            explain="swarm.decide.explain_orbit:orbit_steps",
            lacks="swarm.decide.explain_orbit:why_no_orbit",
            draw="swarm.report.drawn:pass_rings",
            follow="swarm.encounter.orbit.orbit_histories:altitudes_of",
        ),
        Kind(
            ENTRY,
            tables=("entries",),
            place=True,
            screen="swarm.encounter.entry.entry_screen:screen_entries",
            none="swarm.encounter.entry.entry_screen:none_of_entries",
            fits="swarm.encounter.entry.entry_table:entry_fits",
            judge="swarm.encounter.entry.entry_judge:judge_of_entries",
            refine="swarm.refine.entry_kept:refine_entry",
            explain="swarm.decide.explain_entry:entry_steps",
            lacks="swarm.decide.explain_pass:why_no_pass",
            draw="swarm.report.drawn_entries:entry_rings",
            follow="swarm.encounter.entry.entry_profiles:profiles_of",
        ),
    )
}


def kinds_of(study: Study) -> tuple[Kind, ...]:
    """The kinds that some row asks for and some design takes, in the order of the table."""
    asked = {row.where.kind for row in study.science.rows}
    taken = {kind for design in study.designs for kind in design.takes} if study.designs else asked
    return tuple(kind for name, kind in ENCOUNTERS.items() if name in asked & taken)


def at_places(opportunities: pa.Table) -> NDArray[np.bool_]:
    """(n,) encounters with planets and moons."""
    kind = np.asarray(opportunities["kind"].to_pylist(), dtype=object)
    return np.isin(kind, [name for name, each in ENCOUNTERS.items() if each.place])
