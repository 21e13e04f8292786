"""The page and the figures of what the run folder holds."""

from __future__ import annotations

from swarm.app.stages.record import Work
from swarm.report.page import write_page


def work_report(work: Work) -> None:
    write_page(work.run, work.pool)
