"""The judgement does not depend on how the table is cut up, nor on what else stands in it."""

from dataclasses import fields, replace

import numpy as np
import pyarrow as pa
import pytest

from swarm.encounter.judging import Judged
from swarm.plan import judged as judged_module
from swarm.run.kinds import ENCOUNTERS, FLYBY
from swarm.study.schema import study_from
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


def test_each_row_is_judged_as_its_kind_and_design_say(monkeypatch):
    """Rows of two kinds (the second one's judge is the first's) and two designs, mixed: each as if it stood alone."""
    targets = make_targets([14.0, 17.0, 20.0], [0, 3, 5])
    table = make_opportunities(targets, [0, 1, 2] * 4)
    plain = make_study(delivery={"samples": 300})
    small = {**plain.probe.model_dump(exclude_unset=True, by_alias=True), "name": "small"}
    large = {**small, "name": "large", "camera_ifov_urad": 60.0, "takes": ("flyby", "low-pass")}
    data = {**plain.model_dump(mode="json", by_alias=True, exclude_unset=True), "designs": [small, large]}
    study = study_from({key: value for key, value in data.items() if key != "probe"})
    monkeypatch.setitem(ENCOUNTERS, "low-pass", replace(ENCOUNTERS[FLYBY], name="low-pass"))
    kinds, names = ["flyby", "low-pass", "flyby"] * 4, ["small", "large", "large"] * 4
    mixed = table.append_column("design", pa.array(names))
    if "kind" in mixed.column_names:
        mixed = mixed.drop_columns(["kind"])
    found = judged_module.judge_all(
        study, mixed.append_column("kind", pa.array(kinds)), targets, pool=Serial()
    )
    alone = {
        name: judged_module.judge_all(own, table, targets, pool=Serial())
        for name, own in study.by_design.items()
    }
    for field in fields(Judged):
        for k, name in enumerate(names):
            one, whole = getattr(found, field.name)[k], getattr(alone[name], field.name)[k]
            assert one.tobytes() == whole.tobytes(), (field.name, k)
    assert (alone["small"].expected_quality != alone["large"].expected_quality).any()
