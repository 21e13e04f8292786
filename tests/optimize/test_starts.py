"""Plans carried over from one table to another: by body and dates, never by number."""

import numpy as np
import pyarrow as pa

from swarm.optimize.starts import carried_over

KINDS = ["flyby"] * 4


def table(numbers, targets, releases, encounters):
    return pa.table(
        {
            "opportunity": np.array(numbers),
            "target": targets,
            "kind": KINDS[: len(numbers)],
            "release_jd_tdb": np.array(releases, float),
            "encounter_jd_tdb": np.array(encounters, float),
        }
    )


def test_each_goes_to_the_nearest_of_its_body_and_the_rest_is_left_out():
    old = table([7, 3, 9], ["a", "b", "c"], [100.0, 110.0, 120.0], [200.0, 210.0, 220.0])
    new = table(
        [0, 1, 2, 3], ["a", "a", "b", "d"], [100.0, 100.0, 125.0, 120.0], [260.0, 203.0, 210.0, 220.0]
    )
    plans = pa.table({"plan": [0, 0, 1, 2, 2], "probe": [0, 1, 0, 0, 2], "opportunity": [7, 3, 9, 3, 7]})
    found = carried_over(plans, old, new, slot_days=10.0, probes=3)
    # a: the encounter 3 days off; b: released 15 days later, more than a slot; c: not in reach any more
    assert found.to_pydict() == {"plan": [0, 2], "probe": [0, 2], "opportunity": [1, 1]}
    wider = carried_over(plans, old, new, slot_days=20.0, probes=2)
    assert wider.to_pydict() == {"plan": [0, 0, 2], "probe": [0, 1, 0], "opportunity": [1, 2, 2]}


def test_to_the_same_table_nothing_changes():
    same = table([4, 5, 6], ["a", "a", "b"], [100.0, 110.0, 110.0], [200.0, 205.0, 210.0])
    plans = pa.table({"plan": [0, 0, 3], "probe": [0, 1, 0], "opportunity": [6, 4, 5]})
    assert carried_over(plans, same, same, slot_days=10.0, probes=2).equals(plans)


def test_no_plans_are_no_starts():
    same = table([4], ["a"], [100.0], [200.0])
    none = pa.table({name: pa.array([], pa.int64()) for name in ("plan", "probe", "opportunity")})
    assert carried_over(none, same, same, slot_days=10.0, probes=2).num_rows == 0
