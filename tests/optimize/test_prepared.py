"""What is prepared once serves every seed, and side by side as alone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from swarm.optimize.costs import Question
from swarm.optimize.search import optimize, prepare, search_from
from tests.helpers.flown_as_aimed import without_errors
from tests.helpers.serial_pool import Serial
from tests.helpers.small_cases import medium_case

TABLES = ("front", "plans", "bound", "progress")


@pytest.fixture(scope="module")
def question() -> Question:
    study, table, targets = medium_case()
    settings = study.optimize.model_copy(update={"levels": 5, "epochs": 2})
    study = study.model_copy(update={"optimize": settings})
    judged = without_errors(study, table, targets)
    return Question(study, table, targets, judged, None, None)


def test_searches_prepared_side_by_side_are_those_made_alone(question: Question) -> None:
    """Two probe counts, two seeds: each as if its bound had been proven for it alone."""
    counts = (3, 8)
    begun = prepare([replace(question, probes=count) for count in counts], pool=Serial())
    fronts = []
    for count, each in zip(counts, begun, strict=True):
        for seed in (11, 12):
            alone = optimize(
                question.study.with_seed(seed),
                question.opportunities,
                question.targets,
                pool=Serial(),
                probes=count,
                judged=question.judged,
                mothership=None,
            )
            shared = search_from(each, seed=seed, pool=Serial())
            assert [name for name in TABLES if not getattr(shared, name).equals(getattr(alone, name))] == []
            fronts.append(shared.front)
    assert not fronts[0].equals(fronts[2])  # another count is another front
