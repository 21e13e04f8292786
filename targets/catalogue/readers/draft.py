"""What a reader hands to the rules: the rows of a file as columns, nothing judged yet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Numbers:
    """A column of numbers: `values` NaN where missing or not a number, `missing` where nothing is written."""

    values: NDArray[np.float64]
    missing: NDArray[np.bool_]

    def take(self, index: NDArray[np.intp]) -> Numbers:
        return Numbers(self.values[index], self.missing[index])


@dataclass(frozen=True)
class Draft:
    """The rows of a file, n of them, before the rules.

    lines    : (n,) where each row stands in the file, from 1
    text_of  : row -> its text, asked only for the rows that are not taken
    broken   : (n,) '' or why the row is no row at all
    numbers  : by column of the catalogue: elements, h_mag, g_slope, u_code, albedo, diameter_km
    label_of : column of the catalogue -> what the format calls it, for the messages
    u_letter : (n,) the uncertainty is given by a letter
    assumed  : (n,) bits already set in the source
    element_sigma, element_covariance : (n, 6), (n, 6, 6) as in `Catalogue`, None where none is given
    attributes : binary, spin_period_h, family as in `Catalogue`, those of them that are given
    """

    lines: NDArray[np.int64]
    text_of: Callable[[int], str]
    broken: Sequence[str]
    target: Sequence[str]
    name: Sequence[str]
    taxonomy: Sequence[str]
    visited: NDArray[np.bool_]
    numbers: dict[str, Numbers]
    label_of: dict[str, str]
    u_letter: NDArray[np.bool_]
    assumed: NDArray[np.uint16]
    notes: tuple[str, ...] = field(default=())
    element_sigma: NDArray[np.float64] | None = None
    element_covariance: NDArray[np.float64] | None = None
    attributes: dict[str, NDArray[Any]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.lines)


def numbers_of(values: Sequence[Any]) -> Numbers:
    """Return a column of numbers from JSON values or CSV texts; None and '' are missing."""
    kinds = set(map(type, values))
    if kinds <= {float}:
        return Numbers(np.array(values, dtype=float), np.zeros(len(values), dtype=bool))
    missing = np.array([value is None or value == "" for value in values], dtype=bool)
    return Numbers(np.array([_number(value) for value in values], dtype=float), missing)


def no_numbers(count: int) -> Numbers:
    """Return a column of which nothing is known."""
    return Numbers(np.full(count, np.nan), np.ones(count, dtype=bool))


def spin_periods_h(values: Sequence[Any]) -> NDArray[np.float64]:
    """Return spin periods in hours; NaN for nothing and for what is no positive number."""
    periods = numbers_of(values).values
    return np.where(np.isfinite(periods) & (periods > 0.0), periods, np.nan)


def _number(value: Any) -> float:
    if value is None or isinstance(value, bool):
        return float("nan")
    try:
        return float(value)
    except (TypeError, ValueError, OverflowError):
        return float("nan")


def tidy(value: Any) -> str:
    """Return a designation or name with single blanks; '' for nothing."""
    return "" if value is None else " ".join(str(value).split())


def few(names: Sequence[str]) -> str:
    """Return a list of names as text that is never long: the first of them, each cut, and how many more."""
    shown = ", ".join(
        ascii(name)[1:61] if len(name) > 60 or not name.isprintable() else name for name in names[:20]
    )
    return shown + (f" and {len(names) - 20} more" if len(names) > 20 else "")


def naming_notes(without: int) -> tuple[str, ...]:
    """Return the note on rows that are named by their designation, none where there are no such rows."""
    return (f"{without} rows have no number: named by their principal designation.",) if without else ()
