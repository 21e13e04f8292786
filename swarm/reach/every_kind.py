"""One screen of every kind of encounter that a study asks for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from swarm.reach.found import Screening
from swarm.reach.sweeps import together
from swarm.run.kinds import kinds_of
from swarm.run.workers import Pool
from swarm.study.schema import Study
from targets.base.errors import NothingFeasible
from targets.catalogue.reading import Catalogue


def screen_every_kind(
    studies: Sequence[Study],
    catalogue: Catalogue,
    *,
    pool: Pool,
    on_done: Callable[[int, int], None] | None = None,
    gpu: bool = False,
) -> tuple[Screening, ...]:
    """The screens of several studies: those that ask for one kind are screened for it together.

    A study without opportunities has an empty table: `nothing_in_reach` says why. Raises what the kinds' own screens
    raise, where a study leaves no time for an arc or asks for a body that is never passed.
    """
    found: list[list[Screening]] = [[] for _ in studies]
    for kind in dict.fromkeys(kind for study in studies for kind in kinds_of(study)):
        asking = [k for k, study in enumerate(studies) if kind in kinds_of(study)]
        screened = kind.function("screen")(
            [studies[k] for k in asking], catalogue, pool=pool, on_done=on_done, gpu=gpu
        )
        for k, screening in zip(asking, screened, strict=True):
            found[k].append(replace(screening, by_kind=screening.by_kind or {kind.name: screening.counts}))
    return tuple(_one(own, catalogue) for own in found)


def _one(own: list[Screening], catalogue: Catalogue) -> Screening:
    by_kind = {name: counts for screening in own for name, counts in screening.by_kind.items()}
    filled = [screening for screening in own if screening.opportunities.num_rows] or own[:1]
    cautions = tuple(said for screening in own for said in screening.cautions)
    limits = tuple(said for screening in own for said in screening.limits)
    barred = {name: why for screening in own for name, why in screening.barred.items()}
    # what became of rows that were asked for is told of a kind without rows, too
    notes = tuple(dict.fromkeys(note for screening in own for note in screening.notes))
    return replace(
        together(filled, catalogue),
        by_kind=by_kind,
        cautions=cautions,
        limits=limits,
        barred=barred,
        notes=notes,
    )


def nothing_in_reach(study: Study, screening: Screening) -> NothingFeasible:
    """Why a screening is empty: the limit of each kind that emptied it."""
    reasons = [
        screening.barred.get(kind.name)
        or kind.function("none")(study, screening.by_kind.get(kind.name, screening.counts))
        for kind in kinds_of(study)
    ]
    if len(reasons) == 1:
        only: NothingFeasible = reasons[0]
        return only
    names = [kind.name for kind in kinds_of(study)]
    return NothingFeasible(
        "; ".join(f"{name}: {reason.what}" for name, reason in zip(names, reasons, strict=True)),
        limit="; ".join(reason.limit for reason in reasons),
    )
