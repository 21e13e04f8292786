"""The answer in words, each number with the place in the archive it was read from."""

from __future__ import annotations

from collections import Counter
from typing import Any

from markupsafe import Markup

from swarm.decide.headline import reach_said, risk_in_words
from swarm.decide.rests import rests_on_lines
from swarm.report.figures import plan_rows
from swarm.report.forms import shown
from swarm.report.markup import filled, listing, name, number
from swarm.report.page_tables import PageTables
from swarm.study.kind_names import FLYBY

NAMED_MAX = 12
# (column, what happens, the same where it is rare)
_LEVELS = (
    ("p_baseline", "every baseline is met", "every baseline is hardly ever met"),
    ("p_threshold", "every threshold is met", "every threshold is hardly ever met"),
    ("p_none", "nothing comes home", "a swarm that sends nothing home is very unlikely"),
)
# A chance that is shown as 0.0 % is said in words.
_RARE = 5e-4


def answer(tables: PageTables) -> Markup:
    """Paragraphs: the plan, its bodies, how sure it is, how far from the bound, what would change it."""
    row = tables.row("front", "plan", tables.plan)
    rows = plan_rows(tables, tables.plan)
    bodies = Counter(one["target"] for one in rows)
    alone = tables["opportunities"]["kind"].unique().to_pylist() == [FLYBY]
    return filled(
        "answer.html",
        strip=_strip(tables, row),
        bodies=shown(tables.run.manifest["notes"]["catalogue"]["bodies"], "0"),
        targets=tables.summary["targets"],
        places="" if alone else reach_said(tables.run),
        plan=tables.plan,
        rule=tables.summary["rule"],
        plans=tables["front"].num_rows,
        carried=tables.run.study.probe.count,
        probes=_of(tables, "probes", row, "0"),
        science=_of(tables, "science", row, "%0"),
        propellant=_of(tables, "propellant_kg", row, "2"),
        risk=_of(tables, "risk", row, "%0"),
        visited=[
            name(body) if times == 1 else filled_line("{} ({} probes)", name(body), times)
            for body, times in [*bodies.items()][:NAMED_MAX]
        ],
        more=max(len(bodies) - NAMED_MAX, 0),
        levels=_levels(tables, row),
        bound=tables.summary.get("bound"),
        change=_change(tables),
        rests=listing(rests_on_lines(tables["rests_on"])) if tables.has("rests_on") else "",
        limits=listing(tables.summary["limits"]),
    )


def _of(tables: PageTables, key: str, row: int, form: str) -> Markup:
    return number("front", key, row, value=tables["front"][key][row].as_py(), form=form)


def _strip(tables: PageTables, row: int) -> list[dict[str, Markup | str]]:
    """Six things a panel asks first: probes, science with its spread, risk, mass, next decision, confidence."""
    front = tables["front"]
    risk = front["risk"][row].as_py()
    worst = "cvar10_science" in front.column_names
    made = [
        ("Probes", filled_line("{} of {}", _of(tables, "probes", row, "0"), tables.run.study.probe.count),
         "flown of carried"),
        ("Science", _of(tables, "science", row, "%0"),
         filled_line("{} in the worst tenth", _of(tables, "cvar10_science", row, "%0")) if worst else ""),
        ("Risk", risk_in_words(risk), filled_line("{} to miss a threshold", _of(tables, "risk", row, "%0"))),
        ("Mass", *_mass(tables, row)),
        ("Next decision", *_next_decision(tables)),
        ("Confidence", *_confidence(tables)),
    ]  # fmt: skip
    return [{"head": head, "said": said, "note": note} for head, said, note in made]


def filled_line(line: str, *parts: object) -> Markup:
    """A line with its parts, each escaped unless it is markup itself."""
    return Markup(line).format(*parts)


def _mass(tables: PageTables, row: int) -> tuple[Markup, Markup | str]:
    """The last row of the mass budget, which sums the others; the propellant alone where there is no budget."""
    propellant = filled_line("{} kg propellant", _of(tables, "propellant_kg", row, "2"))
    if not tables.has("mass_budget"):
        return propellant, ""
    last = tables["mass_budget"].num_rows - 1
    best, most = (
        number("mass_budget", key, last, value=tables["mass_budget"][key][last].as_py(), form="1")
        for key in ("expected_kg", "maximum_kg")
    )
    return filled_line("{} kg", best), filled_line("{} kg with margins; {}", most, propellant)


def _next_decision(tables: PageTables) -> tuple[Markup, str]:
    """The first burn, until which a probe can be sent elsewhere; its first release where no recourse was computed."""
    if tables.has("recourse"):
        rows = tables["recourse"].to_pylist()
        dated = [k for k, one in enumerate(rows) if one["burn_by_jd_tdb"] is not None]
        if dated:
            k = min(dated, key=lambda at: rows[at]["burn_by_jd_tdb"])
            last = number("recourse", "burn_by_jd_tdb", k, value=rows[k]["burn_by_jd_tdb"], form="date")
            return last, f"whether probe {rows[k]['probe']} flies to its target: its burn"
    flown = plan_rows(tables, tables.plan)
    if not flown:
        return Markup("none"), "no probe is flown"
    k = tables.row("opportunities", "opportunity", flown[0]["opportunity"])
    first = number("opportunities", "release_jd_tdb", k, value=flown[0]["release_jd_tdb"], form="date")
    return first, f"release of probe {flown[0]['probe']}"


def _confidence(tables: PageTables) -> tuple[str, str]:
    """How many unset defaults decide, and whether other code looked at the plans."""
    checked = tables.run.manifest["notes"].get("verified_plans")
    seen = f"{checked} plans checked by other code" if checked else "plans not checked by other code"
    if not tables.has("rests_on"):
        return "not known", f"defaults not moved; {seen}"
    decisive = tables["rests_on"]["decisive"].to_pylist()
    return f"{sum(decisive)} of {len(decisive)}", f"defaults decide; {seen}"


def _levels(tables: PageTables, row: int) -> list[dict[str, Any]]:
    front = tables["front"]
    there = [level for level in _LEVELS if level[0] in front.column_names]
    rare = {key: front[key][row].as_py() < _RARE for key, *_ in there}
    return [
        {"said": seldom if rare[key] else said, "chance": _of(tables, key, row, "%1"), "rare": rare[key]}
        for key, said, seldom in there
    ]


def _change(tables: PageTables) -> dict[str, Markup] | None:
    """The row of the sensitivities in which science changes most."""
    if not tables.has("sensitivity"):
        return None
    rows = tables["sensitivity"].to_pylist()
    k = max(range(len(rows)), key=lambda j: abs(rows[j]["science_change"] or 0.0))
    change = number("sensitivity", "science_change", k, value=rows[k]["science_change"], form="3")
    return {"factor": name(rows[k]["factor"]), "setting": name(rows[k]["setting"]), "science": change}
