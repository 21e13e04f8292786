"""Which figures there are: those of a run, and those of one plan."""

from __future__ import annotations

from dataclasses import replace

from swarm.report.described import PLAN_FIGURES
from swarm.report.entry_figures import entry_figures
from swarm.report.figure_parts import Figure
from swarm.report.figures import (
    apart_figure,
    b_plane_figure,
    burn_classes,
    counts_figure,
    front_figure,
    map_figure,
    science_by_count_figure,
    successes_figure,
    timeline_figure,
    windows_figure,
)
from swarm.report.figures_of_runs import (
    bound_figure,
    convergence_figure,
    density_figure,
    risk_figure,
    tornado_figure,
)
from swarm.report.orbit_figures import orbit_figures
from swarm.report.page_tables import PageTables, plan_rows
from swarm.report.pass_figures import figures_of_passes

# --- all of them --------------------------------------------------------------------------------------------


def page_figures(tables: PageTables) -> list[Figure]:
    """Figures that stay as they are whatever plan is chosen, but for the ring about it on the fronts."""
    made = (
        front_figure(tables),
        front_figure(tables, across="risk"),
        science_by_count_figure(tables),
        counts_figure(tables),
        bound_figure(tables),
        convergence_figure(tables),
        density_figure(tables),
        tornado_figure(tables),
        risk_figure(tables),
    )
    return [
        *(figure for figure in made if figure is not None),
        *figures_of_passes(tables),
        *entry_figures(tables),
        *orbit_figures(tables),
    ]


def form_figures(tables: PageTables) -> list[Figure]:
    """The figures of a plan without one: what the page fills when a plan or a probe is chosen."""
    burns = {f"burn{k}": burns.mark for k, burns in enumerate(burn_classes(tables))}
    described = dict(PLAN_FIGURES)
    described["windows"] = replace(described["windows"], marks=burns | described["windows"].marks)
    return [one.form() for one in described.values()]


def plan_figures(tables: PageTables, plan: int) -> list[Figure]:
    """Figures of one plan, as the page draws them when it is chosen; its first probe stands for the rest."""
    made = [map_figure(tables, plan), map_figure(tables, plan, side=True),
            apart_figure(tables, plan), timeline_figure(tables, plan),
            successes_figure(tables, plan)]  # fmt: skip
    rows = plan_rows(tables, plan)
    if rows:
        made += [
            b_plane_figure(tables, rows[0]),
            b_plane_figure(tables, rows[0], near=True),
            windows_figure(tables, rows[0]),
        ]
    return [figure for figure in made if figure is not None]
