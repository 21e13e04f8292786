"""Figures that stay as they are whatever plan is chosen: proof of the front, and what would change it."""

from __future__ import annotations

import pyarrow.compute as pc

from swarm.report.figure_parts import SYMBOLS, Axis, Figure, Layer, clipped, listed
from swarm.report.page_tables import PageTables

# --- proof --------------------------------------------------------------------------------------------------


def bound_figure(tables: PageTables) -> Figure | None:
    """The best plan per propellant level below what no plan can exceed."""
    if not tables.has("bound"):
        return None
    bound = tables["bound"]
    kg = listed(bound, "propellant_kg")
    return Figure(
        "bound",
        "The best plans beside the proven bound",
        "No plan of this table of opportunities lies above the upper line.",
        Axis("propellant of all probes (kg)", zero=True),
        Axis("expected science (1 = every row met)", zero=True),
        (
            Layer("line", "proven bound", "bloom", kg, listed(bound, "science_upper"), dashed=True),
            Layer("line", "", "leaf", kg, listed(bound, "science_best")),
            Layer("points", "best plan found", "leaf", kg, listed(bound, "science_best")),
        ),
        bound,
    )


def convergence_figure(tables: PageTables) -> Figure | None:
    """The front's volume by plans evaluated, a line a search."""
    if not tables.has("convergence"):
        return None
    table, layers = tables["convergence"], []
    for k, search in enumerate(sorted(set(listed(table, "search")))):
        mine = table.filter(pc.equal(table["search"], search))
        x, y, tone = (
            listed(mine, "evaluations"),
            listed(mine, "hypervolume"),
            ("leaf", "bloom", "sky")[k % 3],
        )
        symbol = SYMBOLS[k % len(SYMBOLS)]
        layers += [
            Layer("line", "", tone, x, y),
            Layer("points", f"search {search}", tone, x, y, symbol=symbol),
        ]
    return Figure(
        "convergence",
        "How the search settled",
        "Volume of the front below one reference point, as more plans were evaluated.",
        Axis("plans evaluated (number)"),
        Axis("hypervolume (share of the reference box)"),
        tuple(layers),
        table,
    )


def density_told(tables: PageTables) -> bool:
    """Whether any target was found or expected: a study of passes alone asks for none."""
    if not tables.has("density"):
        return False
    return any(value > 0 for name in ("found", "expected") for value in tables["density"][name].to_pylist())


def density_figure(tables: PageTables) -> Figure | None:
    """Targets met per period beside what density, reach and speed make one expect."""
    if not density_told(tables):
        return None
    table = tables["density"]
    x = [
        0.5 * (a + b)
        for a, b in zip(listed(table, "from_jd_tdb"), listed(table, "until_jd_tdb"), strict=True)
    ]
    return Figure(
        "density",
        "Targets in reach, found and expected",
        "Expected: density of the catalogue about the mothership x area a burn reaches in free flight x relative "
        "speed x time. Right to a factor of two or so.",
        Axis("date of the encounter (TDB)", "date"),
        Axis("targets per period (number)", zero=True),
        (
            Layer("points", "found", "leaf", x, listed(table, "found")),
            Layer("line", "expected", "bloom", x, listed(table, "expected"), dashed=True),
        ),
        table,
        height=0.45,
    )


# --- what would change it -----------------------------------------------------------------------------------


def tornado_figure(tables: PageTables) -> Figure | None:
    """Change of science by factor, the largest span first; what is re-planned beside what is held."""
    if not tables.has("sensitivity"):
        return None
    table = tables["sensitivity"]
    rows = table.to_pylist()
    factors = list(dict.fromkeys(row["factor"] for row in rows))
    layers = []
    for side, tone in (("low", "sky"), ("high", "bark"), ("out", "bloom")):
        mine = [row for row in rows if row["side"] == side and row["science_change"] is not None]
        if mine:
            layers.append(
                Layer(
                    "across",
                    {"low": "low side", "high": "high side", "out": "left out"}[side],
                    tone,
                    [0.0] * len(mine),
                    [len(factors) - 1 - factors.index(row["factor"]) for row in mine],
                    to=[row["science_change"] for row in mine],
                    said=[row["setting"] for row in mine],
                )
            )
    names = tuple(clipped(factor) for factor in reversed(factors))
    return Figure(
        "tornado",
        "What would change the answer",
        "Change of expected science when one setting changes and the plan is made again, the largest first.",
        Axis("change of expected science (1 = every row met)", zero=True),
        Axis("setting", "names", names),
        tuple(layers),
        table,
        height=0.2 + 0.035 * max(len(factors), 6),
    )


def risk_figure(tables: PageTables) -> Figure | None:
    """Five by five: how many items per likelihood and consequence; shaded by the product of the two bins."""
    if not tables.has("risk_table"):
        return None
    table = tables["risk_table"]
    cells = risk_cells(tables)
    layers = []
    for tone, low, high in (("low", 0, 4), ("middle", 5, 11), ("high", 12, 25)):
        mine = [(x, y) for x, y in cells if low <= (x + 1) * (y + 1) <= high]
        said = [", ".join(str(n + 1) for n in cells[place]) for place in mine]
        layers.append(Layer("cells", "", tone, [x for x, _ in mine], [y for _, y in mine], said=said))
    names = tuple("12345")
    return Figure(
        "risk",
        "Likelihood and consequence",
        "Numbers are those of the table below, the highest first; bins are the study's; shading by the product "
        "of the bins, own choice.",
        Axis("consequence (bin, 5 is worst)", "names", names),
        Axis("likelihood (bin, 5 is likeliest)", "names", names),
        tuple(layers),
        table,
        equal=True,
        height=0.7,
    )


def risk_cells(tables: PageTables) -> dict[tuple[int, int], list[int]]:
    """Ranks of the risks, from 0, by place: (consequence, likelihood) from 0."""
    cells: dict[tuple[int, int], list[int]] = {(x, y): [] for y in range(5) for x in range(5)}
    rows = tables["risk_table"].to_pylist()
    for k, row in enumerate(rows[at] for at in risk_order(tables)):
        cells[int(row["consequence_bin"]) - 1, int(row["likelihood_bin"]) - 1].append(k)
    return cells


def risk_order(tables: PageTables) -> list[int]:
    """Rows of the risk table, the highest first: by the product of the bins, then by the expected loss."""
    rows = tables["risk_table"].to_pylist()

    def height(k: int) -> tuple[float, float]:
        row = rows[k]
        return row["likelihood_bin"] * row["consequence_bin"], row["likelihood"] * row["consequence"]

    return sorted(range(len(rows)), key=height, reverse=True)
