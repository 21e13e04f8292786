"""What the answer hangs on: one assumption changed at a time, the plan left as it is and planned again.

Every change is a study of its own, as if it had been asked so; all keep the propellant of the chosen plan (see
`swarm.decide.replan`). What comes of it is compared with the same short search where nothing is changed, so that effort
alone counts for nothing. A change that moves the mothership, or lets probes burn more, needs a screen of its own: all
of them share one sweep of the catalogue.

What a slip of the schedule means:

* `elements`: the mothership leaves so many days later on the same path in space. Its elements refer to a date so much
  later, the planets pull where they then are, and nothing is released before study.start + slip. study.end stays. An
  orbit that has to begin at a planet would be another one: that is said with `legs`, or with a file.
* `legs`: every date is so many days later and the arcs are solved again to where the planets then are.
* `oem`, `spk`: a file for each slip, followed at its own dates; as the study's own it covers study.start to
  study.end. A file is never shifted in time: the planets would not be where it meets them. Days alone are refused
  (`swarm.study.schema`), and so is a file that holds the study's own path so much later (`is_shifted`).

The plan left as it is does not survive a slip: its burns lead from a path on which the mothership is not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.decide.grounds import (
    BURN,
    HIGH,
    LOW,
    Screened,
    asked_of,
    burn_limits_text,
    ground_of,
    judged_again,
    screens,
    with_improved_starts,
)
from swarm.decide.replan import Answer, Ground, World, answers
from swarm.optimize.epochs import OnDone
from swarm.plan.constraints import UNUSED
from swarm.plan.data import Chances, PlanData, column, plan_data
from swarm.plan.flight import Flight
from swarm.plan.measures import plans_matrix
from swarm.plan.objectives import PROPELLANT, RISK, SCIENCE, evaluate, row_chances
from swarm.plan.question import pose
from swarm.run.workers import Pool
from swarm.study.by_design import probe_values
from swarm.study.ranges import defaults_of, with_value
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

OUT = "out"
SUCCESS, SHARED = "success of a probe", "shared failures"
WEIGHT, LEFT_OUT, NOTHING = "weight", "a target left out", "nothing changed"
# Targets whose order under changed weights is compared.
TOP = 20


@dataclass(frozen=True, eq=False)
class Inputs:
    """A run's tables.

    judged     : of each opportunity
    mothership : the mothership's path; None where the study limits nothing along the arcs
    """

    opportunities: pa.Table
    targets: Catalogue
    judged: Chances
    mothership: pa.Table | None
    front: pa.Table
    plans: pa.Table


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """The tables `sensitivity` (a row a change) and `left_out` (a row a target of the chosen plan)."""

    table: pa.Table
    left_out: pa.Table


@dataclass(frozen=True, eq=False)
class Change:
    """A row of the tornado before it is answered."""

    factor: str
    side: str
    setting: str
    world: World
    rank_correlation: float | None = None


def sensitivity(
    study: Study,
    run: Inputs,
    *,
    plan: int,
    catalogue: Catalogue | None,
    pool: Pool,
    on_done: OnDone | None = None,
) -> Sensitivity:
    """Return what each change of the study's [sensitivity] does to the plan numbered `plan` of the front.

    catalogue : all bodies, where `needs_screen`

    Raises InputError where a slip leaves the mothership without a path.
    """
    asked = asked_of(study)
    front = plans_matrix(run.plans, run.opportunities, run.front.num_rows, probes=study.probe.count)
    chosen = front[run.front["plan"].to_pylist().index(plan)]
    flight = None if run.mothership is None else Flight(run.opportunities, run.mothership)
    base = Ground(run.opportunities, run.targets, run.judged, flight, front)
    spent_kg = _spent_kg(study, base, chosen)
    screened = screens(study, catalogue, pool)
    grounds = [base, *(ground_of(study, base, one, pool) for one in screened)]
    grounds = with_improved_starts(study, grounds, screened, chosen, spent_kg=spent_kg, pool=pool)
    grounds.append(_weaker(study, grounds[0], pool))
    changes = list(_changes(study, grounds, screened, chosen))
    changes += _moved(study, grounds, chosen, pool)
    out = list(_left_out_worlds(study, grounds[0], chosen)) if asked.leave_one_out else []
    found = answers(
        [change.world for change in changes] + out,
        grounds,
        spent_kg=spent_kg,
        effort=asked.effort,
        pool=pool,
        on_done=on_done,
    )
    names = _names(base, chosen)
    lost = left_out_table(names, found[0], found[len(changes) :] if out else [])
    rows = [
        _row(change, answer, found[0], grounds, names) for change, answer in zip(changes, found, strict=False)
    ]
    if out:
        worst = int(np.argmin(np.round(column(lost, "science_replanned"), 12)))
        one = Change(LEFT_OUT, OUT, f"without {names[worst]}", out[worst])
        rows.append(_row(one, found[len(changes) + worst], found[0], grounds, names))
    return Sensitivity(tornado_table(rows), lost)


def _spent_kg(study: Study, base: Ground, chosen: Ints) -> float:
    data = plan_data(study, base.opportunities, base.targets, judged=base.judged)
    return float(evaluate(chosen[None, :], data)[0, PROPELLANT])


def _names(ground: Ground, plan: Ints) -> list[str]:
    """Targets of a plan, each once, in the order of its probes."""
    visited = ground.opportunities["target"].take(pa.array(plan[plan >= 0])).to_pylist()
    return list(dict.fromkeys(visited))


# --- the changes --------------------------------------------------------------------------------------------


def _changes(study: Study, grounds: list[Ground], screened: list[Screened], chosen: Ints) -> Iterator[Change]:
    """Every row of the tornado but that of the targets left out; first the one in which nothing is changed.

    grounds : of the base, of each screen, of the weaker burn
    """
    asked = asked_of(study)
    yield Change(NOTHING, OUT, "as the study says", World(0, study, chosen))
    if asked.burn_limit_fraction:
        less = study.with_burn_limits(1.0 - asked.burn_limit_fraction)
        world = World(len(grounds) - 1, less, chosen)
        yield Change(BURN, LOW, burn_limits_text(less), world)
    nowhere = np.full(len(chosen), UNUSED, dtype=np.int64)
    for k, one in enumerate(screened, start=1):
        plan = chosen if one.factor == BURN else nowhere
        yield Change(one.factor, one.side, one.setting, World(k, one.study, plan))
    yield from _survival_changes(study, chosen)
    yield from _weight_changes(study, grounds[0], chosen)


def _moved(study: Study, grounds: list[Ground], chosen: Ints, pool: Pool) -> Iterator[Change]:
    """Defaults at both ends of their ranges, each on a ground of its own, which is added; what the study sets stays."""
    base = grounds[0]
    for default in defaults_of(study):
        if default.key in asked_of(study).defaults:
            for side, value in ((LOW, default.range.low), (HIGH, default.range.high)):
                moved = with_value(study, default, value)
                judged = judged_again(moved, base.opportunities, base.targets, pool=pool)
                setting = f"{value:g} {default.unit}"
                yield Change(default.key, side, setting, World(len(grounds), moved, chosen))
                grounds.append(replace(base, judged=judged))


def _weaker(study: Study, base: Ground, pool: Pool) -> Ground:
    """The base with what a lower limit leaves judged again: tanks are smaller, and so is what corrects."""
    fraction = asked_of(study).burn_limit_fraction
    if not fraction:
        return base
    less = study.with_burn_limits(1.0 - fraction)
    limits_m_s = probe_values(less, base.opportunities, "burn_limit_m_s")
    rows = np.flatnonzero(column(base.opportunities, "burn_m_s") <= limits_m_s)
    if not len(rows):
        return base
    again = judged_again(less, base.opportunities.take(rows), base.targets, pool=pool)
    judged = Chances._make(values.copy() for values in base.judged)
    for values, new in zip(judged, again, strict=True):
        values[rows] = new
    return replace(base, judged=judged)


def _survival_changes(study: Study, chosen: Ints) -> Iterator[Change]:
    asked = asked_of(study)
    for side, sign in ((LOW, -1.0), (HIGH, 1.0)):
        change = sign * asked.success_change
        if change and study.survival.model == "simple":
            value = float(np.clip(study.survival.success + change, 0.0, 1.0))
            yield Change(
                SUCCESS,
                side,
                f"{value:.6g}",
                World(0, study.with_keys("survival", success=value), chosen),
            )
        elif change:
            setting = f"{change:+g} for every probe"
            yield Change(SUCCESS, side, setting, World(0, study, chosen, success_change=change))
    for side, sign in ((LOW, -1.0), (HIGH, 1.0)):
        if asked.shared_fraction_change:
            value = _shared(study, sign * asked.shared_fraction_change)
            world = World(0, study.with_keys("survival", shared_fraction=value), chosen)
            yield Change(SHARED, side, f"{value:.6g}", world)


def _shared(study: Study, change: float) -> float:
    """The changed fraction, kept where no probe's groups take more than all of its failures."""
    now = study.survival.shared_fraction
    room = 1.0 - sum(group.shared_fraction for group in study.survival.groups)
    return float(np.clip(now + change, 0.0, max(now, room)))


def _weight_changes(study: Study, base: Ground, chosen: Ints) -> Iterator[Change]:
    """One row's weight at a time; with a single row its weight means nothing."""
    fraction, rows = asked_of(study).weight_fraction, study.science.rows
    if not fraction or len(rows) < 2:
        return
    worth = _Worth(study, base)
    for k, row in enumerate(rows):
        for side, sign in ((LOW, -1.0), (HIGH, 1.0)):
            weight = row.weight * (1.0 + sign * fraction)
            changed = (*rows[:k], row.model_copy(update={"weight": weight}), *rows[k + 1 :])
            other = study.with_keys("science", rows=changed)
            rho = worth.rank_correlation(np.array([one.weight for one in changed]))
            yield Change(f"{WEIGHT} of {row.name}", side, f"{weight:.6g}", World(0, other, chosen), rho)


def _left_out_worlds(study: Study, base: Ground, chosen: Ints) -> Iterator[World]:
    """The chosen plan without each of its targets, in the order of its probes."""
    target = column(base.opportunities, "target_index")
    flown = chosen[chosen >= 0]
    for one in dict.fromkeys(target[flown].tolist()):
        kept = np.where((chosen >= 0) & (target[chosen] != one), chosen, UNUSED)
        yield World(0, study, kept, left_out=one)


# --- the order of targets under other weights ---------------------------------------------------------------


class _Worth:
    """What each target is worth to one probe, by its best opportunity, under any weights."""

    def __init__(self, study: Study, base: Ground) -> None:
        data = pose(base.question(study)).data
        self.target, self.share = data.target, row_shares(data)
        self.top = top_targets(worth_of_targets(self.share, self.target, data.weight))
        self.before = worth_of_targets(self.share, self.target, data.weight)[self.top]

    def rank_correlation(self, weight: Floats) -> float | None:
        after = worth_of_targets(self.share, self.target, weight / weight.sum())[self.top]
        return rank_correlation(self.before, after)


def row_shares(data: PlanData) -> Floats:
    """Return the share of each row's baseline that one probe of each opportunity is expected to give, (n, r)."""
    return row_chances(data) / data.baseline


def worth_of_targets(share: Floats, target: Ints, weight: Floats) -> Floats:
    """Return the science of a single probe at each target, by its best opportunity, (t,); 0 without one."""
    worth = np.zeros(int(target.max(initial=-1)) + 1)
    np.maximum.at(worth, target, share @ weight)
    return worth


def top_targets(worth: Floats) -> Ints:
    """Return the rows of the `TOP` targets worth most, the best first; of equals the lower row."""
    order = np.lexsort((np.arange(len(worth)), -np.round(worth, 12)))
    return order[: min(TOP, int((worth > 0.0).sum()))].astype(np.int64)


def rank_correlation(before: Floats, after: Floats) -> float | None:
    """Return Spearman's rank correlation, ties at their mean rank; None where an order means nothing."""
    a, b = np.round(before, 12), np.round(after, 12)
    if len(a) < 2 or (a == a[0]).all() or (b == b[0]).all():
        return None
    return float(np.corrcoef(_mean_ranks(a), _mean_ranks(b))[1, 0])


def _mean_ranks(values: Floats) -> Floats:
    """Ranks from 1 on, ties at their mean rank; a library's would take a second to be imported."""
    _, place, times = np.unique(values, return_inverse=True, return_counts=True)
    return (np.cumsum(times) - 0.5 * (times - 1))[place]


# --- tables -------------------------------------------------------------------------------------------------


def _row(
    change: Change, answer: Answer, base: Answer, grounds: list[Ground], names: list[str]
) -> dict[str, Any]:
    visited = set(_names(grounds[change.world.ground], answer.plan))
    return {
        "factor": change.factor,
        "side": change.side,
        "setting": change.setting,
        "science": float(answer.again[SCIENCE]),
        "propellant_kg": float(answer.again[PROPELLANT]),
        "risk": float(answer.again[RISK]),
        "science_held": float(answer.held[SCIENCE]),
        "risk_held": float(answer.held[RISK]),
        "science_change": float(answer.again[SCIENCE] - base.again[SCIENCE]),
        "risk_change": float(answer.again[RISK] - base.again[RISK]),
        "targets_retained": sum(name in visited for name in names) / len(names) if names else 1.0,
        "rank_correlation": change.rank_correlation,
    }


_TEXT = ("factor", "side", "setting", "target")


def tornado_table(rows: list[dict[str, Any]]) -> pa.Table:
    """Return the rows as a table, the factor with the largest span of science first, what is unchanged last."""
    order = {factor: k for k, factor in enumerate(dict.fromkeys(row["factor"] for row in rows))}
    sides = (LOW, HIGH, OUT)
    keys = {factor: (factor == NOTHING, -round(span_of(rows, factor), 12), order[factor]) for factor in order}
    placed = [(keys[row["factor"]], sides.index(row["side"]), k) for k, row in enumerate(rows)]
    return _table([rows[k] for _, _, k in sorted(placed)])


def span_of(rows: list[dict[str, Any]], factor: str) -> float:
    """Return how far a factor moves the science, from its lowest to its highest, the unchanged included."""
    moved = [0.0, *(row["science_change"] for row in rows if row["factor"] == factor)]
    return max(moved) - min(moved)


def left_out_table(names: list[str], base: Answer, found: list[Answer]) -> pa.Table:
    """Return a row a target left out; `science_change` is of the plan made again."""
    return pa.table(
        {
            "target": pa.array(names[: len(found)], pa.string()),
            "science_held": pa.array([float(one.held[SCIENCE]) for one in found], pa.float64()),
            "science_replanned": pa.array([float(one.again[SCIENCE]) for one in found], pa.float64()),
            "science_change": pa.array(
                [float(one.again[SCIENCE] - base.again[SCIENCE]) for one in found], pa.float64()
            ),
        }
    )


def _table(rows: list[dict[str, Any]]) -> pa.Table:
    names = list(rows[0])
    kinds = {name: pa.string() if name in _TEXT else pa.float64() for name in names}
    return pa.table({name: pa.array([row[name] for row in rows], kinds[name]) for name in names})


# --- said in lines ------------------------------------------------------------------------------------------

_BAR = 12


def tornado_lines(table: pa.Table) -> list[str]:
    """The tornado for people: a line a factor, bars of the change of science about what it is unchanged."""
    rows = table.to_pylist()
    base = next(row for row in rows if row["factor"] == NOTHING)
    lines = [
        f"science {base['science']:.3f} planned again with the chosen plan's propellant "
        f"(the chosen plan itself: {base['science_held']:.3f})"
    ]
    factors = [factor for factor in dict.fromkeys(row["factor"] for row in rows) if factor != NOTHING]
    full = max((span_of(rows, factor) for factor in factors), default=0.0)
    width = max((len(factor) for factor in factors), default=0)
    for factor in factors:
        mine = [row for row in rows if row["factor"] == factor]
        lines.append(f"{factor:<{width}} {_bars(mine, full)} {'; '.join(_said(row, base) for row in mine)}")
    return lines


def _bars(rows: list[dict[str, Any]], full: float) -> str:
    moved = [row["science_change"] for row in rows]
    down, up = (_length(-min(0.0, *moved), full), _length(max(0.0, *moved), full))
    return f"{'#' * down:>{_BAR}}|{'#' * up:<{_BAR}}"


def _length(change: float, full: float) -> int:
    return round(_BAR * change / full) if full > 1e-12 else 0


def _said(row: dict[str, Any], base: dict[str, Any]) -> str:
    text = f"{row['setting']}: {row['science_change']:+.3f}, risk {row['risk_change']:+.3f}"
    if row["propellant_kg"] > base["propellant_kg"] + 0.005:
        # science that more propellant buys is no effect of the assumption
        text += f", flying {row['propellant_kg']:.3f} kg for {base['propellant_kg']:.3f}"
    if row["targets_retained"] == 0.0:
        return f"{text} (another plan: none of its targets is kept)"
    text += (
        f" (same plan {row['science_held']:.3f}; {100 * row['targets_retained']:.0f} % of the targets kept"
    )
    if row["rank_correlation"] is not None:
        text += f"; order of the best {TOP}: {row['rank_correlation']:.2f}"
    return f"{text})"
