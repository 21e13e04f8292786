"""Packed designations and dates: the Minor Planet Center's printed examples, round trips, what is refused."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from targets.catalogue.readers.designations import (
    COMET,
    UNKNOWN,
    is_provisional,
    unpack_designation,
    unpack_epoch,
)
from tests.helpers import mpc_packing

# Minor Planet Center, "Packed Provisional and Permanent Designations"
PRINTED = [
    ("J95X00A", "1995 XA"),
    ("J95X01L", "1995 XL1"),
    ("J95F13B", "1995 FB13"),
    ("J98SA8Q", "1998 SQ108"),
    ("J98SC7V", "1998 SV127"),
    ("J98SG2S", "1998 SS162"),
    ("K99AJ3Z", "2099 AZ193"),
    ("K08Aa0A", "2008 AA360"),
    ("K07Tf8A", "2007 TA418"),
    ("PLS2040", "2040 P-L"),
    ("T1S3138", "3138 T-1"),
    ("T2S1010", "1010 T-2"),
    ("T3S4101", "4101 T-3"),
    ("03202", "3202"),
    ("00433", "433"),
    ("50000", "50000"),
    ("A0345", "100345"),
    ("a0017", "360017"),
    ("K3289", "203289"),
    ("~0000", "620000"),
    ("~000z", "620061"),
    ("~AZaz", "3140113"),
    ("~zzzz", "15396335"),
]
# The same Center, newsletter of October 2023 and its page on the extended scheme
PRINTED_EXTENDED = [
    ("_QC0000", "2026 CA620"),
    ("_QC0aEM", "2026 CZ6190"),
    ("_QCzzzz", "2026 CL591673"),
]
# "Packed Dates"
PRINTED_DATES = [
    ("J9611", (1996, 1, 1)),
    ("J961A", (1996, 1, 10)),
    ("J969U", (1996, 9, 30)),
    ("J96A1", (1996, 10, 1)),
    ("K01AM", (2001, 10, 22)),
]

half_months = st.sampled_from("ABCDEFGHJKLMNOPQRSTUVWXY")
places = st.sampled_from(mpc_packing.LETTERS)


@pytest.mark.parametrize(("packed", "written"), PRINTED + PRINTED_EXTENDED)
def test_printed_examples(packed: str, written: str) -> None:
    assert unpack_designation(packed) == written


@pytest.mark.parametrize(("packed", "written"), PRINTED + PRINTED_EXTENDED)
def test_the_packer_of_these_tests_agrees_with_the_printed_examples(packed: str, written: str) -> None:
    pack = mpc_packing.pack_number if written.isdigit() else mpc_packing.pack_provisional
    assert pack(int(written) if written.isdigit() else written) == packed


def test_before_1925_the_year_is_written_with_an_a() -> None:
    # "New- And Old-Style Minor Planet Designations" of the Center; 433 Eros is A898 PA
    assert unpack_designation("I98P00A") == "A898 PA"
    assert unpack_designation("J24X00A") == "A924 XA"
    assert unpack_designation("J25A00A") == "1925 AA"


@given(number=st.integers(1, 15_396_335))
def test_any_number_comes_back(number: int) -> None:
    assert unpack_designation(mpc_packing.pack_number(number)) == str(number)


@given(year=st.integers(1801, 2061), half_month=half_months, place=places, cycle=st.integers(0, 619))
def test_any_provisional_designation_comes_back(year, half_month, place, cycle) -> None:
    first = str(year) if year >= 1925 else f"A{year % 1000:03d}"
    written = f"{first} {half_month}{place}{cycle or ''}"
    assert unpack_designation(mpc_packing.pack_provisional(written)) == written
    assert is_provisional(written)


@given(year=st.integers(2024, 2061), half_month=half_months, place=places, cycle=st.integers(620, 591_672))
def test_any_extended_designation_comes_back(year, half_month, place, cycle) -> None:
    written = f"{year} {half_month}{place}{cycle}"
    assert unpack_designation(mpc_packing.pack_provisional(written)) == written


def test_numbers_at_the_seams_of_the_three_forms_come_back() -> None:
    numbers = [*range(99_990, 100_010), *range(359_990, 360_010), *range(619_990, 620_100)]
    assert [unpack_designation(mpc_packing.pack_number(n)) for n in numbers] == [str(n) for n in numbers]


@given(day=st.dates(datetime.date(1800, 1, 1), datetime.date(2099, 12, 31)))
def test_any_date_comes_back(day: datetime.date) -> None:
    days = (day - datetime.date(2000, 1, 1)).days  # JD 2451544.5
    assert unpack_epoch(mpc_packing.pack_date(day)) == 2_451_544.5 + days


@pytest.mark.parametrize(("packed", "day"), PRINTED_DATES)
def test_printed_dates(packed: str, day: tuple[int, int, int]) -> None:
    assert mpc_packing.pack_date(datetime.date(*day)) == packed
    assert unpack_epoch(packed) == 2_451_544.5 + (datetime.date(*day) - datetime.date(2000, 1, 1)).days


def test_the_epoch_of_the_year_2025() -> None:
    assert unpack_epoch("K25BL") == 2_461_000.5  # 2025-11-21, the standard epoch of that year's catalogues


@pytest.mark.parametrize("packed", ["", "K25", "K25BLX", "K252U", "K25D1", "K25B0", "K25BW", "L25B1", "k25B1",
                                    "K253V ", "K23 1", "K2_11"])  # fmt: skip
def test_what_is_no_date_is_refused(packed: str) -> None:
    with pytest.raises(ValueError, match=r"not a packed date|day"):
        unpack_epoch(packed)


def test_leap_days() -> None:
    assert unpack_epoch("K242T") == 2_460_369.5  # 2024-02-29
    assert unpack_epoch("K002T") == 2_451_603.5  # 2000-02-29
    for packed in ("K252T", "J002T"):
        with pytest.raises(ValueError, match="day"):
            unpack_epoch(packed)


# The Center's printed examples of comets and moons
@pytest.mark.parametrize("packed", ["0001P", "0003D", "0002I", "J95A010", "J94P01b", "K48X130", "K88AA30", "CJ95O010",
                                    "J013S", "N002S", "K03J020"])  # fmt: skip
def test_comets_and_moons_are_told_as_such(packed: str) -> None:
    with pytest.raises(ValueError, match=COMET):
        unpack_designation(packed)


@pytest.mark.parametrize("packed", ["", "433", "(433)", "1998 SQ", "J95I00A", "J95X00I", "J95Z00A", "J95X0AA",
                                    "~00", "~00000", "~0_00", "_QI0000", "_QZ0000", "PLS20", "T4S1010", "L01A00A",
                                    "A034", "A03456", "00-33", "０0433"])  # fmt: skip
def test_what_follows_no_form_is_refused(packed: str) -> None:
    with pytest.raises(ValueError, match=UNKNOWN):
        unpack_designation(packed)


@pytest.mark.parametrize("written", ["Eros", "1998 S", "1998 IA", "1998 AI", "433", "A898", "P-L", "2001 Aa"])
def test_names_are_not_taken_for_designations(written: str) -> None:
    assert not is_provisional(written)
