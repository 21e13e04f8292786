"""The answer in words, each number with the place in the archive it was read from."""

from __future__ import annotations

from typing import Any

from swarm.report.figures import plan_rows
from swarm.report.markup import listing, name, number, text
from swarm.report.page_tables import PageTables

NAMED_MAX = 12
_LEVELS = (
    ("p_baseline", "every baseline is met", "%1"),
    ("p_threshold", "every threshold is met", "%1"),
    ("p_none", "nothing comes home", "%1"),
)


def answer(tables: PageTables) -> str:
    """Paragraphs: the plan, its bodies, how sure it is, how far from the bound, what would change it."""
    said = [
        _plan(tables),
        _bodies(tables),
        _levels(tables),
        _bound(tables),
        _change(tables),
    ]
    paragraphs = "".join(f'<p class="say">{one}</p>' for one in said if one)
    return f"{paragraphs}<h3>What limits it, the tightest first</h3>{listing(tables.summary['limits'])}"


def _of(tables: PageTables, table: str, key: str, row: int, form: str) -> str:
    return number(table, key, row, value=tables[table][key][row].as_py(), form=form)


def _plan(tables: PageTables) -> str:
    row = tables.row("front", "plan", tables.plan)
    bodies = tables.run.manifest["notes"]["catalogue"]["bodies"]
    science, risk = (
        _of(tables, "front", "science", row, "%0"),
        _of(tables, "front", "risk", row, "%0"),
    )
    kg, probes = (
        _of(tables, "front", "propellant_kg", row, "2"),
        _of(tables, "front", "probes", row, "0"),
    )
    return (
        f"Of {bodies} bodies {tables.summary['targets']} are in reach. Plan {tables.plan}, chosen by the rule "
        f"<em>{text(tables.summary['rule'])}</em> from {tables['front'].num_rows} plans, flies <strong>{probes} of "
        f"{tables.run.study.probe.count} probes</strong>. It is expected to return <strong>{science} of the "
        f"science</strong> for {kg} kg of propellant; the chance that it falls short of a threshold is "
        f"<strong>{risk}</strong>."
    )


def _bodies(tables: PageTables) -> str:
    rows = plan_rows(tables, tables.plan)
    if not rows:
        return "It flies no probe."
    names = ", ".join(name(row["target"]) for row in rows[:NAMED_MAX])
    more = f" and {len(rows) - NAMED_MAX} more" if len(rows) > NAMED_MAX else ""
    return f"In order of release it visits {names}{more}."


def _levels(tables: PageTables) -> str:
    row = tables.row("front", "plan", tables.plan)
    there = [(key, said, form) for key, said, form in _LEVELS if key in tables["front"].column_names]
    parts = [f"{said} with a chance of {_of(tables, 'front', key, row, form)}" for key, said, form in there]
    return f"{'; '.join(parts).capitalize()}." if parts else ""


def _bound(tables: PageTables) -> str:
    said = tables.summary.get("bound")
    return f"How good the search is: {text(said)}." if said else ""


def _change(tables: PageTables) -> str:
    if not tables.has("sensitivity"):
        return ""
    row: dict[str, Any] = tables["sensitivity"].slice(0, 1).to_pylist()[0]
    change = number("sensitivity", "science_change", 0, value=row["science_change"], form="3")
    return (
        f"What would change it most: <em>{name(row['factor'])}</em>; at {name(row['setting'])} science changes by "
        f"{change}, the plan made again."
    )
