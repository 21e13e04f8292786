"""The checker of the product, in the words of these tests."""

from __future__ import annotations

from typing import Any

from swarm.plan import verify


def problems_of(
    study: Any,
    opportunities: Any,
    front: Any,
    plans: Any,
    *,
    probes: int | None = None,
    mothership: Any = None,
) -> list[str]:
    """Everything that is wrong with the tables, as sentences; an empty list is a pass."""
    tables = verify.Tables(opportunities=opportunities, front=front, plans=plans, mothership=mothership)
    return verify.problems_of(study, tables, probes=probes)
