"""One self-contained page of a run: what was found, on what assumptions, and what it must not be used for."""

from __future__ import annotations

from dataclasses import asdict
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup

from swarm.report import tones
from swarm.report.chart import PAPER_TONES, chart
from swarm.report.described import as_data
from swarm.report.drawing import page_script
from swarm.report.figure_lists import form_figures, page_figures
from swarm.report.figure_parts import EVENT_MARKS, LABEL_MAX, Figure
from swarm.report.figures import blackouts, burn_classes, places
from swarm.report.markup import filled, script_json
from swarm.report.page_tables import PageTables, columns_of, read_page_tables
from swarm.report.paint import paint
from swarm.report.sections import made_sections
from swarm.run.folder import Run

if TYPE_CHECKING:
    from swarm.run.workers import Pool

# Nothing is fetched and nothing is sent, whatever a name in the tables says.
_POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:"
# A larger front is looked at through `swarm show`, which hands over the probes of a plan when it is chosen.
_POLICY_ON_DEMAND = f"{_POLICY}; connect-src 'self'"
# Rows of `plans` that a page carries along: 5 000 plans of twelve probes make 6 MB.
PLANS_CARRIED = 60_000
_OPPORTUNITY = (
    "opportunity", "target", "kind", "release_jd_tdb", "burn_jd_tdb", "encounter_jd_tdb", "burn_m_s", "v_rel_km_s",
    "phase_in_deg", "sun_range_au", "earth_range_au", "mothership_range_km",
)  # fmt: skip
_JUDGED = (
    "opportunity", "aim_t_km", "aim_r_km", "aim_km", "expected_quality", "dv99_m_s", "home_days",
    "chance_returned", "sigma_time_s", "reason_text",
)  # fmt: skip
_FRONT = (
    "plan", "probes", "science", "propellant_kg", "risk", "loaded_kg", "p_baseline", "p_threshold", "p_none",
    "cvar10_science", "science_assumed",
)  # fmt: skip
_WINDOW = ("opportunity", "target", "release_jd_tdb", "encounter_jd_tdb", "burn_m_s")
# (key, table, head, unit, form) of the table of encounters; dates and numbers are written as `forms.shown` does.
ENCOUNTER_COLUMNS = (
    ("probe", "plans", "probe", "", "id"),
    ("target", "opportunities", "target", "", "text"),
    ("name", "targets", "name", "", "text"),
    ("taxonomy", "targets", "class", "", "text"),
    ("h_mag", "targets", "H", "mag", "1"),
    ("diameter_km", "images", "diameter", "km", "1"),
    ("science_row", "serves", "counts for (chance)", "", "text"),
    ("pixels_across", "images", "pixels across", "px", "0"),
    ("images_expected", "images", "images expected", "", "1"),
    ("release_jd_tdb", "opportunities", "release", "TDB", "date"),
    ("burn_m_s", "opportunities", "burn", "m/s", "1"),
    ("encounter_jd_tdb", "opportunities", "encounter", "TDB", "date"),
    ("v_rel_km_s", "opportunities", "relative speed", "km/s", "2"),
    ("phase_in_deg", "opportunities", "phase in", "deg", "0"),
    ("sun_range_au", "opportunities", "from the Sun", "au", "2"),
    ("earth_range_au", "opportunities", "from the Earth", "au", "2"),
    ("mothership_range_km", "opportunities", "from the mothership", "km", "0"),
    ("aim_km", "judged", "aim", "km", "0"),
    ("expected_quality", "judged", "quality", "0 to 1", "3"),
    ("dv99_m_s", "judged", "corrections, 99 %", "m/s", "2"),
    ("home_days", "judged", "data home after", "d", "1"),
    ("success", "plans", "chance of data", "0 to 1", "3"),
    ("propellant_kg", "plans", "propellant", "kg", "3"),
)


def write_page(run: Run, pool: Pool | None = None) -> Path:
    """Write `report.html` and `figures/` from what the run folder holds; the same tables give the same bytes.

    pool : draws the figures side by side; this process unless given
    """
    tables = read_page_tables(run)
    paint(tables, run.folder / "figures", pool)
    return _write_html(run, tables)


def write_html(run: Run) -> Path:
    """Write `report.html` alone: for a run whose `figures/` a worker draws, by `swarm.report.paint.paint_run`."""
    return _write_html(run, read_page_tables(run))


def _write_html(run: Run, tables: PageTables) -> Path:
    run.write_text("report.html", page(tables))
    return run.folder / "report.html"


def page(tables: PageTables) -> str:
    """The page as HTML."""
    there, missing = made_sections(tables)
    return filled(
        "page.html",
        title=tables.run.study.study.name,
        policy=Markup(_POLICY_ON_DEMAND if on_demand(tables) else _POLICY),
        style=Markup(style()),
        there=there,
        missing=missing,
        tool=tables.run.manifest["tool"],
        data=script_json(page_data(tables)),
        library=Markup(page_script()),
        script=Markup(f"{_asset('figures.js')}\n{_asset('page.js')}"),
    )


def on_demand(tables: PageTables) -> bool:
    """Whether the front is too large for the page to carry the probes of every plan."""
    return tables["plans"].num_rows > PLANS_CARRIED


def page_data(tables: PageTables) -> dict[str, Any]:
    """What the page's script draws from: tables of the archive as they are, and figures as plain data."""
    used, windows = tables.used, tables.windows
    embedded = {
        "front": columns_of(tables["front"], _FRONT),
        "plans": columns_of(
            tables["plans"],
            ("plan", "probe", "opportunity", "success", "propellant_kg"),
            _carried(tables, "plans"),
        ),
        "opportunities": {
            **columns_of(tables["opportunities"], _OPPORTUNITY, used),
            "row": used.tolist(),
        },
        "windows": {**columns_of(tables["opportunities"], _WINDOW, windows), "row": windows.tolist()},
        "targets": columns_of(tables["targets"], ("target", "name", "taxonomy", "h_mag", "diameter_km")),
    }
    if tables.has("judged"):
        embedded["judged"] = {**columns_of(tables["judged"], _JUDGED, used), "row": used.tolist()}
    for name, keys in (
        ("events", ("opportunity", "event", "t_jd_tdb")),
        ("aims", tuple(tables["aims"].column_names) if tables.has("aims") else ()),
        ("images", ("opportunity", "diameter_km", "pixels_across", "images_expected")),
        ("serves", ("opportunity", "science_row", "counts_chance")),
        ("successes", ("plan", "returned", "chance_or_more")),
    ):
        if tables.has(name):
            embedded[name] = columns_of(tables[name], keys, _carried(tables, name))
    study = tables.run.study.study
    return {
        "tables": embedded,
        "figures": {
            figure.name: _shown(figure, (study.start_jd_tdb, study.end_jd_tdb))
            for figure in (*page_figures(tables), *form_figures(tables))
        },
        "paper": PAPER_TONES,
        "places": places(tables),
        "plan": tables.plan,
        "on_demand": on_demand(tables),
        "span": [study.start_jd_tdb, study.end_jd_tdb],
        "blackouts": blackouts(tables),
        "burns": [asdict(burns) for burns in burn_classes(tables)],
        "described": as_data(),
        "encounters": [
            dict(zip(("key", "table", "head", "unit", "form"), c, strict=True)) for c in ENCOUNTER_COLUMNS
        ],
        "events": list(EVENT_MARKS),
        "label_max": LABEL_MAX,
    }


def _carried(tables: PageTables, name: str) -> np.ndarray | None:
    """Rows of a table that the page carries: all, or those of the chosen plan."""
    if name not in ("plans", "successes") or not on_demand(tables):
        return None
    return np.flatnonzero(tables[name]["plan"].to_numpy() == tables.plan)


def _shown(figure: Figure, span: tuple[float, float]) -> dict[str, Any]:
    """What the page needs of a figure beside its specification: the words above it, and its axes."""
    axes = {
        side: {key: getattr(axis, key) for key in ("label", "kind")}
        for side, axis in (("x", figure.x), ("y", figure.y))
    }
    return {"spec": chart(figure, span=span), "title": figure.title, "note": figure.note, "axes": axes}


def style() -> str:
    """The style of a page, light and dark."""
    light = tones.variables(tones.LIGHT, tones.RAMP_LIGHT)
    dark = tones.variables(tones.DARK, tones.RAMP_DARK)
    on_paper = light.replace(";", " !important;")
    marks = (*tones.LIGHT, *(f"ramp{k}" for k in range(tones.RAMP_STEPS)))
    classes = "".join(f".t-{name}{{color:var(--{name})}}" for name in marks)
    return (
        f":root{{color-scheme:light;{light}}}\n"
        f"@media (prefers-color-scheme: dark){{:root:not([data-theme=light]){{color-scheme:dark;{dark}}}}}\n"
        f":root[data-theme=dark]{{color-scheme:dark;{dark}}}\n"
        f"@media print{{:root,:root[data-theme]{{color-scheme:light!important;{on_paper}}}}}\n"
        f"{classes}\n{_asset('page.css')}"
    )


def _asset(name: str) -> str:
    return files("swarm.report").joinpath(name).read_text(encoding="utf-8")
