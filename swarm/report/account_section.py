"""What a team keeps in its spreadsheet, on the page: what the plan comes to, launch mass, cost, stations, releases."""

from __future__ import annotations

import pyarrow as pa
from markupsafe import Markup

from swarm.decide.account.said import account_lines
from swarm.report.markup import Shown, archive_table, folded, listing, with_rows
from swarm.report.page_tables import PageTables
from swarm.run.tables import parquet_tables

# Tables with their captions, and whether they are shown on request only.
_ACCOUNT = (
    ("outcomes", "How science may turn out: quantiles of all outcomes", False),
    ("launch_mass", "Launch mass", False),
    ("costs", "Cost, in the study's own numbers", False),
    ("station_load", "When encounters overlap: hours a day asked of the stations", False),
    ("release_attitudes", "Releases: place of the dispenser, axis, and the turn to it", True),
    ("protection_checklist", "Planetary protection: a checklist for the responsible authority", True),
)
_FORMS = {pa.string(): "text", pa.bool_(): "yes", pa.int64(): "0"}
_OF_UNIT = {"kg": "2", "cost.unit": "2", "deg": "1", "h/d": "1"}
_OF_KEY = {
    "probe": "id", "plan": "id", "opportunity": "id", "step": "id", "share": "%0", "science": "3", "mean": "3",
    "off_axis": "2",
}  # fmt: skip


def account_section(tables: PageTables) -> Markup:
    if not tables.has("outcomes"):
        return Markup("")
    made = listing(account_lines(tables.run))
    for name, caption, on_request in _ACCOUNT:
        if not tables.has(name):
            continue
        shown = tuple(declared(name, key) for key in tables[name].column_names)
        table = archive_table(name, tables[name], shown, caption=caption)
        count = caption if on_request else with_rows(caption, tables[name])
        made += folded(count, table, narrow=not on_request)
    return made


def declared(table: str, key: str) -> Shown:
    """A column shown under its own name with its declared unit: dates as days, numbers of things whole."""
    column = next(column for column in parquet_tables()[table].columns if column.covers(key))
    unit = "-" if column.unit == "cost.unit" else column.unit  # a column of its own says which
    if unit == "JD TDB":
        return Shown(key, f"{key.removesuffix('_jd_tdb').replace('_', ' ')} (TDB)", "date")
    form = _OF_KEY.get(key) or _FORMS.get(column.type) or _OF_UNIT.get(column.unit, "4")
    stem = key.removesuffix(f"_{unit.replace('/', '_')}").replace("_", " ")
    return Shown(key, stem if unit == "-" else f"{stem}, {unit}", form)
