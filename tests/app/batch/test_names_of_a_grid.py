"""Names of a grid's variations: what was changed, safe as names of folders, no two the same."""

import re

from hypothesis import given
from hypothesis import strategies as st

from swarm.app.batch_names import NAME_MAX, grid_names


def test_a_variation_is_named_by_what_it_changes():
    asked = [
        {"probe.count": 3, "probe.burn_limit_m_s": 80.0},
        {"probe.count": 6, "probe.burn_limit_m_s": 2.5},
    ]
    assert grid_names(asked) == ["count=3,burn=80", "count=6,burn=2.5"]
    assert grid_names([{"mothership.node_deg": -30.0, "sensitivity.slips_days": [30.0, -30.0]}]) == [
        "node=-30,slips=30+-30"
    ]


def test_keys_that_end_alike_are_written_out():
    [name] = grid_names([{"science.rows[0].weight": 2, "science.rows[1].weight": 4}])
    assert name == "science.rows-0-.weight=2,science.rows-1-.weight=4"


def test_what_a_file_system_may_take_for_one_is_told_apart():
    names = grid_names(
        [{"catalogue.file": "A b.csv"}, {"catalogue.file": "a/b.csv"}, {"catalogue.file": "a b.csv"}]
    )
    assert len({name.casefold() for name in names}) == 3
    assert all(name.casefold().startswith("file=a-b.csv-") for name in names)


@given(st.lists(st.tuples(st.text(), st.floats()), min_size=1, max_size=6))
def test_whatever_is_changed_the_names_are_safe_and_unique(pairs):
    asked = [{"a.b": first, "c.d_kg": second} for first, second in pairs]
    names = grid_names(asked)
    assert all(
        re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._+=,-]*", name) and len(name) <= NAME_MAX for name in names
    )
    told = {repr(sorted(each.items())) for each in asked}
    assert len({name.casefold() for name in names}) == len(told)
