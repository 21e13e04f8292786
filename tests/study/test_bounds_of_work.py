"""Work without end is refused, with the amount it would be and what would be taken."""

import pytest

from targets.base.errors import InputError
from tests.helpers.small_cases import END_JD_TDB, START_JD_TDB, make_study

ANY = [{"name": "any"}]


@pytest.mark.parametrize("slot_days", [0.01, 1e-3, 1e-300, 5e-324])
def test_release_dates_without_end(slot_days):
    with pytest.raises(InputError, match=r"search\.slot_days(?s:.*)release dates(?s:.*)at most 10000"):
        make_study(ANY, search={"slot_days": slot_days})


def test_the_least_slot_that_is_named_is_taken():
    least = (END_JD_TDB - START_JD_TDB) / 10_000
    assert make_study(ANY, search={"slot_days": least}).search.slot_days == least


@pytest.mark.parametrize("section", ["mothership", "catalogue"])
def test_an_epoch_far_away(section):
    key = {"epoch": START_JD_TDB - 150 * 365.25}
    with pytest.raises(InputError, match=rf"{section}\.epoch(?s:.*)150 years from study\.start"):
        make_study(ANY, **{section: key})


def test_a_span_of_centuries():
    with pytest.raises(InputError, match=r"study\.end(?s:.*)300 years"):
        make_study(ANY, study={"end": START_JD_TDB + 300 * 365.25}, search={"slot_days": 100.0})


def test_a_specific_impulse_that_no_engine_has():
    with pytest.raises(InputError, match="isp_s"):
        make_study(ANY, probe={"isp_s": 1e-3})
