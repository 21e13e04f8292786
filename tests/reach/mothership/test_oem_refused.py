"""Bad orbit ephemeris messages: each is named by file, line or segment, with what would be accepted."""

import numpy as np
import pytest

from swarm.reach.mothership.sources import mothership_of
from targets.base.constants import DAY_S
from targets.base.errors import InputError
from tests.helpers.mothership_files import Block, date, oem_text
from tests.helpers.quiet_motherships import END_TDB_S, START_TDB_S, daily, orbit, study_of

HALF = 0.5 * (START_TDB_S + END_TDB_S)


def block(first=START_TDB_S, last=END_TDB_S, **meta):
    epochs = daily(first, last, 4.0)
    return Block(epochs, orbit(epochs), meta)


def refused(folder, text, planet_table):
    (folder / "mothership.oem").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        mothership_of(study_of({"kind": "oem", "file": "mothership.oem"}, base=folder), planet_table)
    message = str(caught.value)
    assert "mothership.oem" in message.splitlines()[0]
    assert "expected:" in message
    return message


@pytest.mark.parametrize(
    ("key", "value", "accepted"),
    [
        ("REF_FRAME", "ECLIPJ2000", "ICRF or EME2000"),
        ("TIME_SYSTEM", "GARBAGE", "UTC or TT or TDB"),
        ("TIME_SYSTEM", "GPS", "UTC or TT or TDB"),
        ("CENTER_NAME", "EARTH", "SUN or SOLAR SYSTEM BARYCENTER"),
        ("INTERPOLATION", "SPLINE", "HERMITE or LAGRANGE"),
        ("INTERPOLATION_DEGREE", "seven", "1 to 27"),
        ("INTERPOLATION_DEGREE", "99", "1 to 27"),
        ("START_TIME", "2031-03-01", "2031-060T00:00:00"),
        ("USEABLE_STOP_TIME", "2040-01-01T00:00:00", "2032-03-01"),
        ("SPACECRAFT_COLOUR", "RED", "OBJECT_NAME"),
    ],
)
def test_unknown_metadata(tmp_path, planet_table, key, value, accepted):
    message = refused(tmp_path, oem_text([block(**{key: value})]), planet_table)
    assert ", line " in message
    assert key in message
    assert value in message
    assert accepted in message


@pytest.mark.parametrize("key", ["OBJECT_ID", "CENTER_NAME", "REF_FRAME", "TIME_SYSTEM", "STOP_TIME"])
def test_missing_metadata(tmp_path, planet_table, key):
    assert f"no {key}" in refused(tmp_path, oem_text([block(**{key: None})]), planet_table)


def test_a_gap_between_segments(tmp_path, planet_table):
    text = oem_text([block(last=HALF - 60.0), block(first=HALF)])
    message = refused(tmp_path, text, planet_table)
    assert "segment 1" in message
    assert "segment 2" in message
    assert "60.000 s" in message
    assert "2031-03-01" in message
    assert "2032-03-01" in message


def test_a_gap_of_less_than_a_second_is_a_gap(tmp_path, planet_table):
    assert "0.500 s" in refused(tmp_path, oem_text([block(last=HALF - 0.5), block(first=HALF)]), planet_table)


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        (START_TDB_S + DAY_S, END_TDB_S, "the start of the study"),
        (START_TDB_S, END_TDB_S - DAY_S, "the end of the study"),
        (START_TDB_S - 900.0 * DAY_S, START_TDB_S - 500.0 * DAY_S, "outside the study"),
        (END_TDB_S + 500.0 * DAY_S, END_TDB_S + 900.0 * DAY_S, "outside the study"),
    ],
)
def test_dates_that_do_not_cover_the_study(tmp_path, planet_table, first, last, words):
    message = refused(tmp_path, oem_text([block(first, last)]), planet_table)
    assert words in message
    assert "segment 1 (line 6)" in message
    assert "study.start to study.end" in message


def test_a_study_in_a_gap_between_segments(tmp_path, planet_table):
    early = block(START_TDB_S - 90.0 * DAY_S, START_TDB_S - 40.0 * DAY_S)
    late = block(END_TDB_S + 40.0 * DAY_S, END_TDB_S + 90.0 * DAY_S)
    assert "a gap" in refused(tmp_path, oem_text([early, late]), planet_table)


def test_segments_that_overlap(tmp_path, planet_table):
    message = refused(tmp_path, oem_text([block(last=HALF + DAY_S), block(first=HALF)]), planet_table)
    assert "overlap" in message
    assert "segment 1" in message
    assert "segment 2" in message


def lines_of(text):
    lines = text.splitlines()
    return lines, lines.index("META_STOP") + 1


@pytest.mark.parametrize("swap", [True, False])
def test_epochs_out_of_order_or_twice(tmp_path, planet_table, swap):
    lines, first = lines_of(oem_text([block()]))
    if swap:
        lines[first + 4], lines[first + 5] = lines[first + 5], lines[first + 4]
    else:
        lines[first + 5] = lines[first + 4]
    message = refused(tmp_path, "\n".join(lines), planet_table)
    assert "out of order" in message
    assert f"line {first + 6}" in message


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (-1, "", "half a line"),
        (3, "12.3.4", "not a number"),
        (3, "nan", "not a number"),
        (3, "1e999", "not a number"),
        (0, "2031-99-01T00:00:00", "not a date"),
    ],
)
def test_a_broken_line(tmp_path, planet_table, old, new, words):
    lines, first = lines_of(oem_text([block()]))
    parts = lines[first + 7].split()
    parts[old] = new
    lines[first + 7] = " ".join(parts)
    message = refused(tmp_path, "\n".join(lines), planet_table)
    assert words in message
    assert f"line {first + 8}" in message


def test_eight_numbers_are_too_many(tmp_path, planet_table):
    lines, first = lines_of(oem_text([block()]))
    lines[first] += " 1.0 2.0"
    assert "8 numbers" in refused(tmp_path, "\n".join(lines), planet_table)


def test_a_file_cut_off_anywhere_is_refused(tmp_path, planet_table):
    """At every line end, and in the middle of every line but the last: no prefix passes for the whole.

    Cut inside the very last number a file still reads as a file; nothing in the format would show it.
    """
    text = oem_text([block()]).rstrip()
    starts = [k + 1 for k, c in enumerate(text) if c == "\n"]
    tail = text.rindex(" ")
    cuts = starts[::7] + [s + 20 for s in starts[::5] if s + 20 < tail]
    for cut in [*cuts, 0]:
        refused(tmp_path, text[:cut], planet_table)


def test_a_file_cut_off_in_its_metadata_says_so(tmp_path, planet_table):
    text = oem_text([block()])
    assert "no META_STOP" in refused(tmp_path, text[: text.index("META_STOP")], planet_table)
    assert "no META_STOP" in refused(tmp_path, text.replace("META_STOP\n", ""), planet_table)
    assert "no states" in refused(tmp_path, text[: text.index("META_STOP") + 9], planet_table)


def test_a_file_cut_off_between_two_lines_of_states_says_so(tmp_path, planet_table):
    lines, first = lines_of(oem_text([block()]))
    message = refused(tmp_path, "\n".join(lines[: first + 30]), planet_table)
    assert "cut off" in message
    assert "STOP_TIME" in message
    assert "segment 1" in message


def test_a_covariance_that_does_not_end(tmp_path, planet_table):
    text = oem_text([Block(daily(), orbit(daily()), {}, "COVARIANCE_START\n1.0")])
    assert "COVARIANCE_STOP" in refused(tmp_path, text, planet_table)


def test_too_few_states_for_the_interpolation(tmp_path, planet_table):
    epochs = np.array([START_TDB_S, HALF, END_TDB_S])
    message = refused(tmp_path, oem_text([Block(epochs, orbit(epochs))]), planet_table)
    assert "too few states" in message
    assert "at least 4" in message


def test_two_objects(tmp_path, planet_table):
    text = oem_text([block(last=HALF), block(first=HALF, OBJECT_ID="2031-001B")])
    assert "a second object" in refused(tmp_path, text, planet_table)


def test_a_leap_second_where_there_is_none(tmp_path, planet_table):
    for system in ("TDB", "TT", "UTC"):
        lines, first = lines_of(oem_text([block()], system=system))
        when, rest = lines[first + 1].split(" ", 1)
        lines[first + 1] = f"{when[:10]}T23:59:60.000 {rest}"
        assert "leap second" in refused(tmp_path, "\n".join(lines), planet_table)


@pytest.mark.parametrize(
    "text", ["", "\n\n", "<?xml version='1.0'?>", "CCSDS_OPM_VERS = 2.0", "1 2 3", "CCSDS_OEM_VERS = 9.9"]
)
def test_another_file(tmp_path, planet_table, text):
    assert "CCSDS" in refused(tmp_path, text, planet_table)


def test_bytes_that_are_no_text(tmp_path, planet_table):
    assert "not ASCII" in refused(
        tmp_path, oem_text([block()]).replace("META_START", "META\u00b5START"), planet_table
    )


def test_no_file(tmp_path, planet_table):
    with pytest.raises(InputError, match="not there"):
        mothership_of(study_of({"kind": "oem", "file": "none.oem"}, base=tmp_path), planet_table)


def test_the_same_text_unbroken_is_taken(tmp_path, planet_table):
    """The control: what the refusals above start from."""
    (tmp_path / "mothership.oem").write_text(
        oem_text([block(last=HALF), block(first=HALF)]), encoding="ascii"
    )
    ship = mothership_of(study_of({"kind": "oem", "file": "mothership.oem"}, base=tmp_path), planet_table)
    assert len(ship.legs) == 1
    assert date(ship.legs[0].start_tdb_s, "TDB").startswith("2031-03-01")


@pytest.mark.parametrize("which", ["all reversed", "one reversed", "one place off"])
def test_positions_and_velocities_that_disagree(tmp_path, planet_table, which):
    """Read as it stands, such a file is another path: each state of it is a fine one by itself."""
    whole = block()
    states = whole.states.copy()
    if which == "all reversed":
        states[:, 3:] *= -1.0
    elif which == "one reversed":
        states[20, 3:] *= -1.0
    else:
        states[20, 0] += 1e7
    text = oem_text([Block(whole.epochs_tdb_s, states)])
    message = refused(tmp_path, text, planet_table)
    assert "do not agree" in message
    first = next(k for k, line in enumerate(text.splitlines(), start=1) if line.startswith("2031-03-01T"))
    assert f"line {first + (1 if which == 'all reversed' else 20)}:" in message


@pytest.mark.parametrize("speed_km_s", [4e5, 1e12])
def test_a_state_faster_than_light(tmp_path, planet_table, speed_km_s):
    whole = block()
    states = whole.states.copy()
    states[7, 3] = speed_km_s
    assert "no mothership is there" in refused(
        tmp_path, oem_text([Block(whole.epochs_tdb_s, states)]), planet_table
    )
