"""The page of a choice among motherships: when to leave, and is a burn of the mothership worth it. No script."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass

import pyarrow as pa
from markupsafe import Markup

from swarm.report.figure_parts import Figure
from swarm.report.markup import Shown, archive_table, filled, listing
from swarm.report.page import style
from swarm.report.sections import CAUTIONS
from swarm.run.folder import Run

# Nothing is fetched, nothing runs; pictures stand in the page.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
_COLUMNS = (
    Shown("carrier", "no.", "id"), Shown("label", "mothership"), Shown("rank", "place by the law", "0"),
    Shown("expected", "targets expected", "0"), Shown("targets", "targets", "0"),
    Shown("science_best", "most science", "3"), Shown("propellant_best_kg", "its propellant, kg", "2"),
    Shown("science_at_level_0", "science at 25 %", "3"), Shown("science_at_level_1", "at 50 %", "3"),
    Shown("science_at_level_2", "at 75 %", "3"), Shown("science_at_level_3", "at 100 % of the propellant", "3"),
    Shown("burn_m_s", "own burns, m/s", "2"), Shown("propellant_kg", "their propellant, kg", "2"),
    Shown("plans", "plans on the front", "0"), Shown("note", "note"),
)  # fmt: skip
# Figures by the question they answer; what is not drawn is left out.
_MAPS = ("carriers_map_science", "carriers_map_targets", "carriers_map_propellant")
_WHEN = (*_MAPS, "carriers_science", "carriers_expected")
_FRONT = ("carriers_front", "carriers_bound")
_BURN = ("carriers_kilograms",)


@dataclass(frozen=True)
class ChoiceSection:
    """A heading with sentences, figures as pictures, and a table, which answer its question."""

    anchor: str
    title: str
    question: str
    said: Sequence[str]
    figures: Sequence[dict[str, str]] = ()
    table: Markup | str = ""


def write_choice_page(
    run: Run, said: dict[str, list[str]], figures: Sequence[Figure], table: pa.Table
) -> None:
    """Write `report.html` of a folder whose `figures/` are painted.

    said : sentences by question: when, burn, steers, front
    """
    made = {figure.name: figure for figure in figures}

    def drawn(names: Sequence[str]) -> list[dict[str, str]]:
        return [_picture(run, made[name]) for name in names if name in made]

    rows = [k for k, row in enumerate(table.to_pylist()) if row["rank"] or row["burns"]]
    compared = archive_table("carriers", table, _COLUMNS, caption="Motherships compared", order=rows)
    when, burn = said["when"], [*said["burn"], *said["steers"]]
    sections = [
        ChoiceSection("answer", "When to leave", "which date is best, and how sure is that?", when, drawn(_WHEN)),
        ChoiceSection("burn", "Is a burn of the mothership worth it", "what do its kilograms buy?", burn, drawn(_BURN)),
        ChoiceSection("front", "One front of all motherships", "which plan, whoever flies it?", said["front"],
                      drawn(_FRONT)),
        ChoiceSection("all", "Every mothership", "what of those that were not taken?", (), (), compared),
        ChoiceSection("cautions", "Cautions", "what must this not be used for?", (), (), listing(CAUTIONS)),
    ]  # fmt: skip
    page = filled(
        "choice.html",
        title=run.study.study.name,
        policy=Markup(_POLICY),
        style=Markup(style()),
        sections=sections,
        tool=run.manifest["tool"],
    )
    run.write_text("report.html", page)


def _picture(run: Run, figure: Figure) -> dict[str, str]:
    content = (run.folder / "figures" / f"{figure.name}.svg").read_bytes()
    source = "data:image/svg+xml;base64," + base64.b64encode(content).decode("ascii")
    return {"source": source, "title": figure.title, "note": figure.note}
