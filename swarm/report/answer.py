"""The answer in words, each number with the place in the archive it was read from."""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from swarm.decide.rests import rests_on_lines
from swarm.report.figures import plan_rows
from swarm.report.markup import filled, listing, name, number
from swarm.report.page_tables import PageTables

NAMED_MAX = 12
_LEVELS = (
    ("p_baseline", "every baseline is met"),
    ("p_threshold", "every threshold is met"),
    ("p_none", "nothing comes home"),
)
# A chance that is shown as 0.0 % is said in words.
_RARE = 5e-4


def answer(tables: PageTables) -> Markup:
    """Paragraphs: the plan, its bodies, how sure it is, how far from the bound, what would change it."""
    row = tables.row("front", "plan", tables.plan)
    bodies = plan_rows(tables, tables.plan)
    return filled(
        "answer.html",
        bodies=tables.run.manifest["notes"]["catalogue"]["bodies"],
        targets=tables.summary["targets"],
        plan=tables.plan,
        rule=tables.summary["rule"],
        plans=tables["front"].num_rows,
        carried=tables.run.study.probe.count,
        probes=_of(tables, "probes", row, "0"),
        science=_of(tables, "science", row, "%0"),
        propellant=_of(tables, "propellant_kg", row, "2"),
        risk=_of(tables, "risk", row, "%0"),
        visited=[name(body["target"]) for body in bodies[:NAMED_MAX]],
        more=max(len(bodies) - NAMED_MAX, 0),
        levels=_levels(tables, row),
        bound=tables.summary.get("bound"),
        change=_change(tables),
        rests=listing(rests_on_lines(tables["rests_on"])) if tables.has("rests_on") else "",
        limits=listing(tables.summary["limits"]),
    )


def _of(tables: PageTables, key: str, row: int, form: str) -> Markup:
    return number("front", key, row, value=tables["front"][key][row].as_py(), form=form)


def _levels(tables: PageTables, row: int) -> list[dict[str, Any]]:
    front = tables["front"]
    there = [(key, said) for key, said in _LEVELS if key in front.column_names]
    return [
        {"said": said, "chance": _of(tables, key, row, "%1"), "rare": front[key][row].as_py() < _RARE}
        for key, said in there
    ]


def _change(tables: PageTables) -> dict[str, Markup] | None:
    """The row of the sensitivities in which science changes most."""
    if not tables.has("sensitivity"):
        return None
    rows = tables["sensitivity"].to_pylist()
    k = max(range(len(rows)), key=lambda j: abs(rows[j]["science_change"] or 0.0))
    change = number("sensitivity", "science_change", k, value=rows[k]["science_change"], form="3")
    return {"factor": name(rows[k]["factor"]), "setting": name(rows[k]["setting"]), "science": change}
