"""One self-contained page of a run: what was found, on what assumptions, and what it must not be used for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
from plotly.offline import get_plotlyjs

from swarm.archive import Run
from swarm.report.figures import BLOSSOM, GRID, INK, PAPER, Figure, front_figure, map_figure
from swarm.report.markup import listing, script_json, table, text
from swarm.study import study_rows
from targets.errors import InputError
from targets.timescale import iso_tdb

CAUTIONS = (
    "Concept-study figures: good for comparing plans, not for flying one. Not for operations.",
    "Planetary protection, launch safety, radio licensing and recontact safety rest with the responsible "
    "authorities.",
    "Encounters and burns in this table are the undisturbed ones: errors of delivery and corrections are in the "
    "chances and the propellant.",
    "Values marked as from memory in the table of assumptions are starting values, to be checked before they "
    "are quoted.",
)
_STYLE = f"""
body {{ background: {PAPER}; color: {INK}; font: 17px/1.5 Georgia, serif; }}
body {{ max-width: 68rem; margin: 2rem auto; padding: 0 1rem; }}
h1 {{ font-size: 1.7rem; border-left: .5rem solid {BLOSSOM}; padding-left: .8rem; }}
h2 {{ font-size: 1.2rem; margin-top: 2.2rem; }}
.say {{ font-size: 1.15rem; }}
.figure {{ height: 32rem; }}
.wide {{ overflow-x: auto; }}
table {{ border-collapse: collapse; font-size: .85rem; }}
th, td {{ border-bottom: 1px solid {GRID}; padding: .25rem .6rem; text-align: left; vertical-align: top; }}
td:nth-child(2) {{ white-space: nowrap; }}
td.n {{ text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }}
footer {{ margin-top: 3rem; font-size: .8rem; }}
"""
_DRAW = """
for (const [place, figure] of Object.entries(JSON.parse(document.getElementById("figures").textContent))) {
  Plotly.newPlot(place, figure.data, figure.layout, {displaylogo: false, responsive: true});
}
"""
# Nothing is fetched and nothing is sent, whatever a name in the tables says.
_POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:"


def write_page(run: Run) -> Path:
    """Write `report.html` from what the run folder holds; the same tables give the same bytes."""
    summary = run.manifest["notes"].get("summary")
    if summary is None or not run.has("front"):
        raise InputError(
            "the run has no front yet", file=run.folder, do="make it with: swarm optimize --run DIR"
        )
    run.write_text("report.html", _page(run, summary))
    return run.folder / "report.html"


def _page(run: Run, summary: dict[str, Any]) -> str:
    front, encounters = run.read_table("front"), chosen_encounters(run, summary["plan"])
    figures = {
        "front": front_figure(front, summary["plan"]),
        "map": map_figure(run.read_table("mothership"), encounters),
    }
    study = run.study
    parts = [
        f"<h1>{text(study.study.name)}</h1>",
        f'<p class="say">{text(headline(run, front, summary))}</p>',
        "<h2>The front</h2>",
        "<p>Each point is a plan that no other plan beats in science, propellant and risk at once. "
        "The ring marks the chosen plan.</p>",
        '<div class="figure" id="front"></div>',
        listing(summary["front"]),
        "<h2>What limits it</h2>",
        listing(summary["limits"]),
        "<h2>Where it happens</h2>",
        "<p>Seen from the north pole of the ecliptic: the mothership's path, where probes leave it, and where "
        "they meet their targets.</p>",
        '<div class="figure" id="map"></div>',
        f"<h2>Encounters of plan {summary['plan']}</h2>",
        _encounter_table(encounters),
        "<h2>Cautions</h2>",
        listing(CAUTIONS),
        "<h2>Assumptions</h2>",
        listing([*run.manifest["notes"].get("catalogue", {}).get("rules", []), *run.manifest["warnings"]]),
        table(("key", "value", "unit", "source"), study_rows(study)),
        _footer(run),
    ]
    return _document(study.study.name, "\n".join(parts), figures)


def headline(run: Run, front: pa.Table, summary: dict[str, Any]) -> str:
    """The answer in words."""
    row = front.filter(pc.equal(front["plan"], summary["plan"])).to_pylist()[0]
    bodies, count = run.manifest["notes"]["catalogue"]["bodies"], run.study.probe.count
    targets, plan = summary["targets"], row["plan"]
    science, kg, risk = 100 * row["science"], row["propellant_kg"], 100 * row["risk"]
    return (
        f"Of {bodies} bodies {targets} are in reach. Plan {plan}, chosen by the rule "
        f"{summary['rule']} from {front.num_rows} plans, flies {row['probes']} of {count} probes. It is "
        f"expected to return {science:.0f} % of the science for {kg:.2f} kg of propellant; the chance that it "
        f"falls short of a threshold is {risk:.0f} %."
    )


def chosen_encounters(run: Run, plan: int) -> pa.Table:
    """The plan's probes with their opportunity and target columns, in order of release."""
    plans, opportunities, targets = (run.read_table(name) for name in ("plans", "opportunities", "targets"))
    columns = ["probe", "opportunity", "success", "propellant_kg"]
    chosen = plans.filter(pc.equal(plans["plan"], plan)).select(columns)
    known = targets.select(["target", "name", "taxonomy", "h_mag"])
    joined = chosen.join(opportunities, "opportunity").join(known, "target", join_type="left outer")
    return joined.sort_by([("release_jd_tdb", "ascending"), ("probe", "ascending")])


_ENCOUNTER_COLUMNS = (
    ("probe", "probe", "{}"),
    ("target", "target", "{}"),
    ("name", "name", "{}"),
    ("class", "taxonomy", "{}"),
    ("H", "h_mag", "{:.1f}"),
    ("release", "release_jd_tdb", "date"),
    ("encounter", "encounter_jd_tdb", "date"),
    ("burn, m/s", "burn_m_s", "{:.1f}"),
    ("v rel, km/s", "v_rel_km_s", "{:.2f}"),
    ("phase in, deg", "phase_in_deg", "{:.0f}"),
    ("Sun, au", "sun_range_au", "{:.2f}"),
    ("Earth, au", "earth_range_au", "{:.2f}"),
    ("from mothership, km", "mothership_range_km", "whole"),
    ("chance of data", "success", "{:.3f}"),
    ("propellant, kg", "propellant_kg", "{:.3f}"),
)


def _encounter_table(encounters: pa.Table) -> str:
    heads = [head for head, _, _ in _ENCOUNTER_COLUMNS]
    rows = [[_cell(row[key], form) for _, key, form in _ENCOUNTER_COLUMNS] for row in encounters.to_pylist()]
    return table(heads, rows, numeric=frozenset({0, *range(4, len(heads))}))


def _cell(value: Any, form: str) -> str:
    if value is None:
        return ""
    if form == "date":
        return iso_tdb(value)[:10]
    if form == "whole":
        return f"{value:,.0f}".replace(",", "\u202f")
    return form.format(value)


def _footer(run: Run) -> str:
    study, inputs = run.study.study, run.manifest["inputs"]
    said = (
        f"{run.manifest['tool']} · dated {iso_tdb(study.date_jd_tdb)} · seed {run.manifest['seed']} · "
        f"dates are TDB · vectors are heliocentric, ICRF axes · study {inputs['study'][:12]} · "
        f"catalogue {(inputs.get('catalogue') or 'none')[:12]} (first digits of SHA-256)"
    )
    return f"<footer>{text(said)}</footer>"


def _document(title: str, body: str, figures: dict[str, Figure]) -> str:
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width">'
        f"<title>{text(title)}</title>\n<style>{_STYLE}</style>\n"
        f"<script>{get_plotlyjs()}</script></head>\n<body>\n{body}\n"
        f'<script type="application/json" id="figures">{script_json(figures)}</script>\n'
        f"<script>{_DRAW}</script>\n</body></html>\n"
    )
