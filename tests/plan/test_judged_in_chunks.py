"""The judgement does not depend on how the table is cut up."""

from dataclasses import fields

import numpy as np
import pytest

from swarm.encounter.judging import Judged
from swarm.plan import judged as judged_module
from tests.helpers.made_encounters import make_opportunities, make_study, make_targets
from tests.helpers.serial_pool import Serial


@pytest.mark.parametrize("chunk", [1, 7])
def test_any_chunk_gives_the_same_bytes(monkeypatch, chunk):
    targets = make_targets([14.0, 17.0, 20.0], [0, 3, 5])
    table = make_opportunities(targets, [0, 1, 2] * 5)
    study = make_study(delivery={"samples": 300})
    whole = judged_module.judge_all(study, table, targets, pool=Serial())
    monkeypatch.setattr(judged_module, "CHUNK", chunk)
    cut = judged_module.judge_all(study, table, targets, pool=Serial())
    for field in fields(Judged):
        assert getattr(cut, field.name).tobytes() == getattr(whole, field.name).tobytes(), field.name
    assert len(np.unique(whole.expected_quality)) > 1
