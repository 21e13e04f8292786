"""Several motherships in one pass over the catalogue find what each finds alone."""

from __future__ import annotations

import pytest

from swarm.reach.opportunities import screen, screen_together
from swarm.run.workers import Pool
from targets.base.errors import InputError
from targets.catalogue.invented import invented_belt
from tests.helpers.belt_study import belt_study


def with_mothership(**changes: object):
    study = belt_study()
    return study.model_copy(update={"mothership": study.mothership.model_copy(update=changes)})


def test_together_is_the_same_as_alone() -> None:
    belt = invented_belt(12_000, 3)
    studies = [
        belt_study(),
        with_mothership(mean_anomaly_deg=200.0),
        with_mothership(a_au=2.6, motion="kepler"),
    ]
    together = screen_together(studies, belt, pool=Pool())
    for study, found in zip(studies, together, strict=True):
        alone = screen(study, belt, pool=Pool())
        assert alone.opportunities.num_rows > 3
        assert found.opportunities.equals(alone.opportunities)
        assert found.counts == alone.counts
        assert found.targets.to_table().equals(alone.targets.to_table())


def test_different_dates_are_refused_with_the_key() -> None:
    study = belt_study()
    later = study.model_copy(update={"study": study.study.model_copy(update={"end": study.study.end + 10.0})})
    with pytest.raises(InputError, match=r"study\.end"):
        screen_together([study, later], invented_belt(100, 3), pool=Pool())
