"""The answer in eight lines, each for one question of whoever has to decide; everything else is printed on request.

    in reach      how many bodies is there a choice of?
    plan          what would fly, and to which bodies?
    worth         what comes back, and how likely is it too little?
    mass          what must the mothership carry?
    limited by    what would have to change for more?
    rests on      which unproven value decides the answer?
    decide next   what has to be decided first, and until when?
    page          where does it stand in full?

Numbers are those of the run's tables; a line whose stage was not run says how to get it.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from swarm.decide.rests import DECISIVE
from swarm.decide.summary import limits
from swarm.plan.budgets import flown_of_front, swarm_masses
from swarm.study.kind_names import FLYBY, MANY
from targets.base.timescale import iso_tdb

if TYPE_CHECKING:
    from swarm.run.folder import Run

_NAMED_MAX = 4  # bodies named in the line of the plan
# How often a plan falls short, in words; the limits are own choice.
_IN_WORDS = ((0.02, "hardly ever"), (0.1, "rarely"), (0.3, "in some cases"), (0.5, "often"))


def headline(run: Run) -> list[tuple[str, str]]:
    """Return (label, sentence) of the eight lines, for the plan that the study's rule chooses.

    The run holds a front and the summary of it.
    """
    front, chosen = run.read_table("front"), run.manifest["notes"]["summary"]["plan"]
    place = int(pc.index(front["plan"], chosen).as_py())
    row = front.slice(place, 1).to_pylist()[0]
    return [
        ("in reach", reach_said(run)),
        ("plan", _plan(run, row, front.num_rows)),
        ("worth", _worth(row)),
        ("mass", _mass(run, row, place, front)),
        ("limited by", _limit(run, front)),
        ("rests on", _rests(run.read_table("rests_on"))),
        ("decide next", _next(run)),
        ("page", _page(run, chosen)),
    ]


def risk_in_words(risk: float) -> str:
    """How often a plan of this risk falls short of the least that its study calls a success."""
    return next((said for limit, said in _IN_WORDS if risk < limit), "more often than not")


def reach_said(run: Run) -> str:
    """What there is a choice of: bodies of the catalogue, and planets and moons by the ways to come to them."""
    bodies = _grouped(run.manifest["notes"]["catalogue"]["bodies"])
    found = run.read_table("opportunities").select(["target", "kind"])
    kinds = {
        kind: found.filter(pc.equal(found["kind"], kind))["target"]
        for kind in found["kind"].unique().to_pylist()
    }
    past = kinds.pop(FLYBY, None)
    if not kinds:
        reached, ways = len(found["target"].unique()), found.num_rows
        return f"{_grouped(reached)} of {bodies} bodies, by {_grouped(ways)} opportunities to fly past one"
    said = []
    if past is not None:
        said.append(f"{_grouped(len(past.unique()))} of {bodies} bodies by {_grouped(len(past))} flybys")
    said += [
        f"{', '.join(targets.unique().to_pylist())} by {_grouped(len(targets))} {MANY[kind]}"
        for kind, targets in kinds.items()
    ]
    return "; ".join(said)


def _plan(run: Run, row: dict[str, Any], plans: int) -> str:
    said = f"plan {row['plan']} of {plans} worth comparing flies {row['probes']} of {run.study.probe.count} probes"
    if visits := Counter(visited(run, row["plan"])):
        named = [name if times == 1 else f"{name} ({times} probes)" for name, times in visits.items()]
        more = f" and {len(named) - _NAMED_MAX} more" if len(named) > _NAMED_MAX else ""
        said += f", to {', '.join(named[:_NAMED_MAX])}{more}"
    if not run.manifest["notes"]["summary"]["rule_met"]:
        said += "; none meets the rule with the chance asked for: this comes closest"
    return said


def visited(run: Run, plan: int) -> list[str]:
    """Return the bodies of a plan in order of release."""
    plans, opportunities = run.read_table("plans"), run.read_table("opportunities")
    members = plans.filter(pc.equal(plans["plan"], plan)).sort_by("probe")["opportunity"]
    places = pc.index_in(members, value_set=opportunities["opportunity"])
    named: list[str] = opportunities["target"].take(places).to_pylist()
    return named


def _worth(row: dict[str, Any]) -> str:
    least = "" if row["measures_exact"] else "at least "
    return (
        f"{100.0 * row['science']:.0f} % of the science asked for, {least}{100.0 * row['cvar10_science']:.0f} % in the "
        f"worst tenth of outcomes; misses a threshold {risk_in_words(row['risk'])} ({100.0 * row['risk']:.0f} %)"
    )


def _mass(run: Run, row: dict[str, Any], place: int, front: pa.Table) -> str:
    masses = swarm_masses(run.study, flown_of_front(run.study, front)[place : place + 1])
    best, most = float(masses.best_kg[0]), float(masses.maximum_kg[0])
    return (
        f"{most:.0f} kg with margins, {best:.0f} kg as estimated: probes flown, with dispensers; they burn "
        f"{row['propellant_kg']:.2f} kg of propellant"
    )


def _limit(run: Run, front: pa.Table) -> str:
    return limits(run.study, run.read_table("opportunities"), front, run.read_table("plans"))[0]


def _rests(table: pa.Table) -> str:
    decisive = int(np.count_nonzero(table["decisive"].to_numpy(zero_copy_only=False)))
    if not decisive:
        return f"no default that the study does not set changes the science by more than {100 * DECISIVE:g} points"
    row = table.slice(0, 1).to_pylist()[0]
    unit = "" if row["unit"] == "-" else f" {row['unit']}"
    ends = sorted((row["science_low"], row["science_high"]))
    return (
        f"{row['key']} = {row['value']:g}{unit}, a default: {row['low']:g} to {row['high']:g}{unit} would make it "
        f"{100 * ends[0]:.0f} to {100 * ends[1]:.0f} % of the science; {decisive} of {table.num_rows} defaults matter"
    )


def _next(run: Run) -> str:
    if not run.has("recourse"):
        return "known once probe counts are compared: give [compare] counts in the study"
    rows = run.read_table("recourse").to_pylist()
    if not rows:
        return "nothing: the plan flies no probe"
    first = min(rows, key=_burn_by)
    return (
        f"whether probe {first['probe']} flies to {first['target']}: by {iso_tdb(first['burn_by_jd_tdb'])[:10]} TDB, "
        "its burn"
    )


def _burn_by(row: dict[str, Any]) -> tuple[float, int]:
    return row["burn_by_jd_tdb"], row["probe"]


def _page(run: Run, chosen: int) -> str:
    page = run.folder / "report.html"
    there = str(page) if page.is_file() else "not made yet"
    return f"{there}; more: swarm explain --run {run.folder}, with --plan {chosen} or --all"


def _grouped(number: int) -> str:
    return f"{number:,}".replace(",", " ")
