"""The rules: which rows are not taken, and what stands in for a value that is not given.

Both tables are the whole truth about missing and special values; every rule that acted is told in a
note with its count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from targets.base.errors import InputError
from targets.base.timescale import iso_tdb
from targets.catalogue.bodies import ASSUMED_G, ASSUMED_H, ASSUMED_U, Catalogue, object_column
from targets.catalogue.readers.draft import Draft, Numbers
from targets.catalogue.rejects import rejects_table

ELEMENTS = ("epoch_jd_tdb", "a_au", "e", "i_deg", "node_deg", "argp_deg", "mean_anomaly_deg")

# The years the planets' ephemeris DE440 covers (from memory of its comment area): nothing can be
# moved from an epoch outside them.
_DE440_START_JD, _DE440_END_JD = 2_287_184.5, 2_688_976.5

_Comparison = Callable[[NDArray[np.float64], float], NDArray[np.bool_]]

# (column, comparison, limit, reason): a row for which the comparison holds is not taken.
NOT_TAKEN: tuple[tuple[str, _Comparison, float, str], ...] = (
    ("e", np.less, 0.0, "{label} is negative"),
    ("e", np.greater_equal, 1.0, "unbound orbit: {label} is 1 or more, only closed orbits are followed"),
    ("a_au", np.less_equal, 0.0, "{label} is not positive"),
    ("a_au", np.greater, 1e5, "{label} is above 100 000 au, where no body is held by the Sun"),
    ("i_deg", np.less, 0.0, "{label} is negative"),
    ("i_deg", np.greater, 180.0, "{label} is above 180 deg"),
    ("epoch_jd_tdb", np.less, _DE440_START_JD, "{label} is before JD 2287184.5, where the ephemeris begins"),
    ("epoch_jd_tdb", np.greater, _DE440_END_JD, "{label} is after JD 2688976.5, where the ephemeris ends"),
)
# A turn either way is how people write angles; more is a slip, and sines lose their digits.
NOT_TAKEN += tuple(
    (column, comparison, limit, "{label} is beyond -360 to 360 deg")
    for column in ("node_deg", "argp_deg", "mean_anomaly_deg")
    for comparison, limit in ((np.less, -360.0), (np.greater, 360.0))
)
LONGEST_NAME = 100
NOT_A_NAME = f"{{what}} is longer than {LONGEST_NAME} characters, or holds some that do not print"
NO_TARGET = "no number and no principal designation"
TWICE = "the target stands in the file twice: the first row is taken"


@dataclass(frozen=True)
class StandIn:
    """A value that may be absent: what is usable (low <= value <= high), and what stands in otherwise."""

    column: str
    value: float
    low: float
    high: float
    bit: int
    why: str
    whole: bool = False


STAND_INS: tuple[StandIn, ...] = (
    StandIn("h_mag", 24.0, -5.0, 40.0, ASSUMED_H,
            "H = 24 assumed, a body of about 60 m: an unknown brightness never makes a large target"),
    StandIn("g_slope", 0.15, -0.5, 1.0, ASSUMED_G,
            "G = 0.15 assumed, the IAU convention for an unknown slope"),
    StandIn("u_code", 9.0, 0.0, 9.0, ASSUMED_U,
            "U = 9 assumed, the worst of the scale", whole=True),
    StandIn("albedo", np.nan, 0.005, 1.0, 0, "albedo unknown"),
    StandIn("diameter_km", np.nan, 1e-4, 3000.0, 0, "diameter unknown"),
)  # fmt: skip
_U_LETTER = (
    "U given by a letter (E: the eccentricity was assumed; D, F: observations under two designations): "
    "U = 9 assumed, the worst of the scale"
)


def settle(draft: Draft, file: Path) -> tuple[Catalogue, pa.Table, tuple[str, ...]]:
    """Return the catalogue, the rejects and the notes of a draft; every row is in one of the first two.

    Raises InputError if nothing can be taken.
    """
    reasons = _reasons(draft)
    taken = np.flatnonzero(reasons == "")
    not_taken = np.flatnonzero(reasons != "")
    if taken.size == 0:
        raise InputError(
            "nothing can be taken from the file",
            file=file,
            found=f"{len(draft)} rows; the first stands at {draft.lines[0]}: {reasons[0]}",
            expected="at least one body on a closed orbit",
        )
    rows = [(int(draft.lines[row]), str(reasons[row]), draft.text_of(int(row))) for row in not_taken]
    columns, assumed, notes = _with_stand_ins(draft, taken)
    catalogue = Catalogue(
        target=object_column(draft.target)[taken],
        name=object_column(draft.name)[taken],
        taxonomy=object_column(draft.taxonomy)[taken],
        visited=draft.visited[taken],
        assumed=assumed,
        u_code=columns.pop("u_code").astype(np.int8),
        element_sigma=None if draft.element_sigma is None else draft.element_sigma[taken],
        element_covariance=None if draft.element_covariance is None else draft.element_covariance[taken],
        **{name: values[taken] for name, values in draft.attributes.items()},
        **columns,
    )
    told = (*draft.notes, *_epoch_notes(catalogue), *notes, *_reject_notes(reasons[not_taken]))
    return catalogue, rejects_table(rows), told


def _reasons(draft: Draft) -> NDArray[np.object_]:
    """Return '' for a row that is taken, else the first rule that speaks against it."""
    reasons = object_column(draft.broken)
    _add(reasons, np.array([not target for target in draft.target], dtype=bool), NO_TARGET)
    for what in ("target", "name", "taxonomy"):
        _add(
            reasons,
            np.array([not _is_name(text) for text in getattr(draft, what)]),
            NOT_A_NAME.format(what=what),
        )
    for column in ELEMENTS:
        numbers, label = draft.numbers[column], draft.label_of[column]
        _add(reasons, numbers.missing, f"no value for {label}")
        _add(reasons, ~np.isfinite(numbers.values), f"{label} is not a finite number")
    for column, comparison, limit, reason in NOT_TAKEN:
        with np.errstate(invalid="ignore"):
            against = comparison(draft.numbers[column].values, limit)
        _add(reasons, against, reason.format(label=draft.label_of[column]))
    _add(reasons, _repeated(draft.target, reasons == ""), TWICE)
    return reasons


def _is_name(text: str) -> bool:
    return len(text) <= LONGEST_NAME and text.isprintable()


def _add(reasons: NDArray[np.object_], against: NDArray[np.bool_], reason: str) -> None:
    reasons[against & (reasons == "")] = reason


def _repeated(targets: Any, standing: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mark, among the rows still standing, those whose target an earlier one carries."""
    again = np.zeros(len(standing), dtype=bool)
    seen: set[str] = set()
    for row in np.flatnonzero(standing):
        target = targets[row]
        again[row] = target in seen
        seen.add(target)
    return again


def _with_stand_ins(
    draft: Draft, taken: NDArray[np.intp]
) -> tuple[dict[str, NDArray[Any]], NDArray[np.uint16], tuple[str, ...]]:
    columns: dict[str, NDArray[Any]] = {name: draft.numbers[name].values[taken] for name in ELEMENTS}
    assumed, notes = draft.assumed[taken].copy(), []
    letter = draft.u_letter[taken]
    for rule in STAND_INS:
        numbers = draft.numbers[rule.column].take(taken)
        if rule.column == "u_code":
            notes += _note(int(letter.sum()), _U_LETTER)
            numbers = replace(numbers, missing=numbers.missing & ~letter)
        values, stood_in = _apply(rule, numbers)
        columns[rule.column] = values
        assumed[stood_in] |= np.uint16(rule.bit)
        notes += _stand_in_notes(rule, numbers, stood_in & ~letter, draft.label_of[rule.column])
    return columns, assumed, tuple(notes)


def _apply(rule: StandIn, numbers: Numbers) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    with np.errstate(invalid="ignore"):
        usable = (numbers.values >= rule.low) & (numbers.values <= rule.high)
    if rule.whole:
        usable &= numbers.values == np.round(numbers.values)
    return np.where(usable, numbers.values, rule.value), ~usable


def _stand_in_notes(rule: StandIn, numbers: Numbers, stood_in: NDArray[np.bool_], label: str) -> list[str]:
    unusable = int((stood_in & ~numbers.missing).sum())
    told = _note(unusable, f"{label} not a number within {rule.low:g} to {rule.high:g}: {rule.why}")
    if rule.bit:  # an albedo or diameter that is not given is the usual case and stays unknown
        told = _note(int((stood_in & numbers.missing).sum()), f"{label} not given: {rule.why}") + told
    return told


def _epoch_notes(catalogue: Catalogue) -> list[str]:
    epochs, counts = np.unique(catalogue.epoch_jd_tdb, return_counts=True)
    most = int(np.argmax(counts))
    others = len(catalogue) - int(counts[most])
    return _note(
        others,
        f"elements at another epoch than the commonest, {iso_tdb(float(epochs[most]))} "
        f"(from {iso_tdb(float(epochs[0]))} to {iso_tdb(float(epochs[-1]))}): "
        "taken as they are, each moved from its own epoch",
    )


def _reject_notes(reasons: NDArray[np.object_]) -> list[str]:
    counts = Counter(str(reason) for reason in reasons)
    return [line for reason in sorted(counts) for line in _note(counts[reason], reason, verb="not taken")]


def _note(count: int, sentence: str, verb: str = "taken") -> list[str]:
    """Return no sentence for a rule that did not act, else one with its count."""
    rows = "1 row" if count == 1 else f"{count} rows"
    return [f"{rows} {verb}: {sentence}."] if count else []
