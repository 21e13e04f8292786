"""What a front says in a few lines: its ends, the plan a rule chooses, and what limits it.

Everything is counted in the tables of the run; nothing is estimated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from swarm.plan.budgets import flown_of_front, swarm_masses
from swarm.study.by_design import probe_values
from swarm.study.kind_names import FLYBY
from swarm.study.schema import Study

_CLOSE_TO_LIMIT = 0.9


def choose_plan(front: pa.Table, rule: str, among: NDArray[np.bool_] | None = None) -> int:
    """The plan of a front that a rule selects; of equal plans the one with the lowest number.

    knee         : nearest to the ideal corner (most science, least propellant, least risk), each of the three
                   scaled to its own range over the front, by straight distance
    most-science : most science, then least risk, then least propellant
    least-risk   : least risk, then most science, then least propellant

    among : (plans,) those to choose from; scales are those of the whole front
    """
    plan = front["plan"].to_numpy()
    science, kg, risk = (front[name].to_numpy() for name in ("science", "propellant_kg", "risk"))
    loss = np.column_stack([-science, kg, risk])
    keys: tuple[np.ndarray, ...]
    if rule == "knee":
        keys = (plan, _distance_to_ideal(loss))
    elif rule == "most-science":
        keys = (plan, loss[:, 1], loss[:, 2], loss[:, 0])
    else:
        keys = (plan, loss[:, 1], loss[:, 0], loss[:, 2])
    order = np.lexsort(keys)
    return int(plan[order if among is None else order[among[order]]][0])


def select_plan(front: pa.Table, study: Study) -> tuple[int, bool]:
    """The plan of a front that the study's rule selects, and whether the rule could be met.

    least-propellant : among plans with P(every threshold met) of at least `compare.chance_min`, the least
                       propellant, then most science; where there is none, the least risk
    science-in-mass  : among plans whose probes and dispensers, with margins, weigh at most
                       `compare.swarm_mass_max_kg`, the most science, then least risk, then least propellant
    The other rules are those of `choose_plan`.

    All but the first choose among the plans with P(every threshold met) of at least `compare.chance_least`; where there
    is none, the least risk is taken, and the rule was not met.
    """
    rule, limit_kg = study.compare.rule, study.compare.swarm_mass_max_kg
    if rule == "least-propellant":  # it names the chance it asks for itself
        likely = front.filter(pa.array(front["risk"].to_numpy() <= 1.0 - study.compare.chance_min + 1e-12))
        if not likely.num_rows:
            return choose_plan(front, "least-risk"), False
        order = [("propellant_kg", "ascending"), ("science", "descending"), ("plan", "ascending")]
        return int(likely["plan"][pc.sort_indices(likely, order)[0].as_py()].as_py()), True
    likely_enough = front["risk"].to_numpy() <= 1.0 - study.compare.chance_least + 1e-12
    if rule == "science-in-mass" and limit_kg is not None:
        light = swarm_masses(study, flown_of_front(study, front)).maximum_kg <= limit_kg + 1e-9
        if not light.any():
            fewest = pc.sort_indices(front, [("probes", "ascending")])[0].as_py()
            return int(front["plan"][fewest].as_py()), False
        if not (light & likely_enough).any():
            return choose_plan(front, "least-risk", light), False
        return choose_plan(front, "most-science", light & likely_enough), True
    if not likely_enough.any():
        return choose_plan(front, "least-risk"), False
    return choose_plan(front, rule, likely_enough), True


def _distance_to_ideal(loss: np.ndarray) -> np.ndarray:
    low, high = loss.min(axis=0), loss.max(axis=0)
    span = np.where(high > low, high - low, 1.0)
    return np.sqrt((((loss - low) / span) ** 2).sum(axis=1))


@dataclass(frozen=True)
class Counts:
    """How many of the chosen kind lie close to a limit of the study; `flown_by`: targets with an arc in free space."""

    targets: int
    flown_by: int
    burn_close: int
    arc_close_long: int
    arc_close_short: int
    release_slots: int


def counts(study: Study, opportunities: pa.Table) -> Counts:
    """Counts over the cheapest opportunity of each target."""
    best = cheapest_per_target(opportunities)
    # how long a way to a planet or moon is, is asked for by days before its passage, not found between two limits
    flown = best.filter(pc.equal(best["kind"], FLYBY))
    arc_days = flown["encounter_jd_tdb"].to_numpy() - flown["burn_jd_tdb"].to_numpy()
    span_days = study.search.arc_max_days - study.search.arc_min_days
    return Counts(
        targets=best.num_rows,
        flown_by=flown.num_rows,
        burn_close=int(
            (
                best["burn_m_s"].to_numpy() > _CLOSE_TO_LIMIT * probe_values(study, best, "burn_limit_m_s")
            ).sum()
        ),
        arc_close_long=int((arc_days > study.search.arc_max_days - 0.1 * span_days).sum()),
        arc_close_short=int((arc_days < study.search.arc_min_days + 0.1 * span_days).sum()),
        release_slots=len(pc.unique(opportunities["release_jd_tdb"])),
    )


def cheapest_per_target(opportunities: pa.Table) -> pa.Table:
    """One row per target: its least burn; ties go to the lowest opportunity number."""
    keys = [(name, "ascending") for name in ("target", "burn_m_s", "opportunity")]
    ordered = opportunities.take(pc.sort_indices(opportunities, keys))
    names = ordered["target"].to_numpy(zero_copy_only=False)
    first = np.ones(len(names), dtype=bool)
    first[1:] = names[1:] != names[:-1]
    return ordered.filter(pa.array(first))


def burn_limits(study: Study) -> str:
    """The burn limit, or those of the designs."""
    return " or ".join(f"{own.probe.burn_limit_m_s:g}" for own in study.by_design.values())


def limits(study: Study, opportunities: pa.Table, front: pa.Table, plans: pa.Table) -> list[str]:
    """Sentences on what limits the answer, each with its counts, the tightest first."""
    tight = counts(study, opportunities)
    arcs = f"{study.search.arc_min_days:g}-{study.search.arc_max_days:g} d"
    said = [
        (
            tight.burn_close / tight.targets,
            f"burn limit: {tight.burn_close} of {tight.targets} targets need more than 90 % of "
            f"{burn_limits(study)} m/s (were they spread evenly, 19 % would)",
        ),
        *_arc_limits(tight, arcs),
        _spacing_limit(study, opportunities, front, plans),
        _count_limit(study, front),
    ]
    return [text for _, text in sorted(said, key=_tightness, reverse=True)]


def _arc_limits(tight: Counts, arcs: str) -> list[tuple[float, str]]:
    if not tight.flown_by:
        return []
    ends = (("longest", "last", tight.arc_close_long), ("shortest", "first", tight.arc_close_short))
    return [
        (
            close / tight.flown_by,
            f"{name} arc: {close} of {tight.flown_by} targets are cheapest in the {end} tenth of {arcs}",
        )
        for name, end, close in ends
    ]


def _tightness(item: tuple[float, str]) -> float:
    return item[0]


def _count_limit(study: Study, front: pa.Table) -> tuple[float, str]:
    row = _row(front, choose_plan(front, "most-science"))
    share = row["probes"] / study.probe.count if study.probe.count else 0.0
    flown = f"{row['probes']} of {study.probe.count}"
    return share, f"probe count: the plan with most science flies {flown} probes"


def _spacing_limit(
    study: Study, opportunities: pa.Table, front: pa.Table, plans: pa.Table
) -> tuple[float, str]:
    """Gaps between releases that leave less than one more slot of room above the spacing."""
    plan = choose_plan(front, "most-science")
    chosen = plans.filter(pc.equal(plans["plan"], plan))
    release = opportunities["release_jd_tdb"].take(
        pc.index_in(chosen["opportunity"], value_set=opportunities["opportunity"])
    )
    gaps_days = np.diff(np.sort(release.to_numpy()))
    spacing = study.constraints.release_spacing_days
    tight = int((gaps_days < spacing + study.search.slot_days).sum())
    text = (
        f"release spacing: {tight} of {len(gaps_days)} gaps between releases of that plan are within a slot "
        f"of {spacing:g} d"
    )
    return (tight / len(gaps_days) if len(gaps_days) else 0.0), text


def _row(front: pa.Table, plan: int) -> dict[str, float]:
    return front.filter(pc.equal(front["plan"], plan)).to_pylist()[0]


def front_lines(front: pa.Table, chosen: int) -> list[str]:
    """The front's ends and the chosen plan, a line each."""
    flown = front.filter(pc.greater(front["probes"], 0))
    source = flown if flown.num_rows else front
    cheapest = source.take(pc.sort_indices(source, [("propellant_kg", "ascending"), ("plan", "ascending")]))
    named = (
        ("least propellant", int(cheapest["plan"][0].as_py())),
        ("most science", choose_plan(front, "most-science")),
        ("least risk", choose_plan(front, "least-risk")),
        ("chosen", chosen),
    )
    return [f"{name:<17} {_plan_line(_row(front, plan))}" for name, plan in named]


def bound_line(bound: pa.Table, bounded: int) -> str:
    """How good the front is, in one sentence.

    bounded : usable opportunities of the table that the bound was computed on
    """
    upper, best = (bound[name].to_numpy().sum() for name in ("science_upper", "science_best"))
    within = 0.0 if upper <= 0.0 else 1.0 - float(best / upper)
    return (
        f"the most science found per propellant is within {100.0 * within:.2f} % of a proven bound "
        f"(sum over {bound.num_rows} propellant levels, for the {bounded} usable opportunities, polished releases "
        "included)"
    )


def level_lines(front: pa.Table, chosen: int) -> list[str]:
    """What the chosen plan may come to beyond its expectation, a line each; the front has its measures."""
    row = _row(front, chosen)
    exact = row["measures_exact"]
    likely = "" if row["p_threshold"] >= 0.5 else " (it fails more likely than not)"
    return [
        f"every threshold met: {row['p_threshold']:.3f}{likely}; every baseline: {'' if exact else 'at most '}"
        f"{row['p_baseline']:.3f}; no data at all: {row['p_none']:.1e}",
        f"science of the worst tenth of outcomes: {'' if exact else 'at least '}{row['cvar10_science']:.3f} "
        f"(expected {row['science']:.3f})",
        f"science resting on assumed class, albedo, H or U: {100 * row['science_assumed']:.0f} %",
    ]


def answer_lines(
    study: Study, front: pa.Table, plans: pa.Table, opportunities: pa.Table, *, chosen: int
) -> list[str]:
    """The answer in words: what the chosen plan flies, what it is worth, where it goes."""
    row = _row(front, chosen)
    said = [
        f"plan {chosen} of {front.num_rows} flies {row['probes']} of {study.probe.count} probes; "
        f"{100 * row['science']:.0f} % of the science can be expected of it, for {row['propellant_kg']:.2f} kg of "
        f"propellant; the chance that it falls short of a threshold is {100 * row['risk']:.1f} %"
    ]
    members = plans.filter(pc.equal(plans["plan"], chosen)).sort_by("probe")["opportunity"]
    names = opportunities["target"].take(pc.index_in(members, value_set=opportunities["opportunity"]))
    if len(names):
        said.append(f"in order of release it visits {', '.join(names.to_pylist())}")
    return said


def _plan_line(row: dict[str, float]) -> str:
    return (
        f"plan {row['plan']:>4}: {row['probes']:>2} probes, science {row['science']:.3f}, "
        f"propellant {row['propellant_kg']:.3f} kg, risk {row['risk']:.3f}"
    )
