"""What a science row can ask of a body: its size, brightness and history, and the chance of its class."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from targets.base.errors import InputError
from targets.catalogue.bodies import ASSUMED_H, ASSUMED_U, Catalogue, Floats, object_column
from targets.catalogue.classes import ALBEDO_MEDIAN, ALBEDO_SCATTER_DEX, LABELS, label_of, zone_shares
from targets.catalogue.physical import albedo_of, diameter_km

# Albedo where nothing is known of the surface: the value behind "H = 17.75 is 1 km" (checks with
# D = 1329 km / sqrt(p) * 10^(-H/5)), about the mean of near-Earth bodies (from memory).
DEFAULT_ALBEDO = 0.14

# key of a row's `where` -> what it asks; `taxonomy` is answered by a chance, `kind` by the encounter
BODY_KEYS = (
    "diameter_km_min", "diameter_km_max", "albedo_min", "albedo_max", "h_mag_min", "h_mag_max",
    "spin_period_h_min", "spin_period_h_max", "u_max", "visited", "binary", "family", "taxonomy_chance_min",
)  # fmt: skip
OTHER_KEYS = ("taxonomy", "kind")

# What of a body may be assumed, not known, and still be used by a row.
ASSUMPTIONS = ("taxonomy", "albedo", "h_mag", "u_code")


def diameters(catalogue: Catalogue) -> tuple[Floats, NDArray[np.bool_]]:
    """Return (diameters in km (n,), assumed (n,)).

    As given; else from H and the albedo; else from H and DEFAULT_ALBEDO. `assumed` marks those
    that rest on DEFAULT_ALBEDO or on an assumed H.
    """
    given = np.isfinite(catalogue.diameter_km)
    albedo_known = np.isfinite(catalogue.albedo)
    albedo = np.where(albedo_known, catalogue.albedo, DEFAULT_ALBEDO)
    size_km = np.where(given, catalogue.diameter_km, diameter_km(catalogue.h_mag, albedo))
    return size_km, ~given & (~albedo_known | _h_assumed(catalogue))


def albedos(catalogue: Catalogue) -> Floats:
    """Return albedos (n,): as given, else from a given diameter and H, else NaN."""
    implied = albedo_of(catalogue.h_mag, catalogue.diameter_km)
    implied = np.where(_h_assumed(catalogue), np.nan, implied)
    return np.where(np.isfinite(catalogue.albedo), catalogue.albedo, implied)


def class_chances(catalogue: Catalogue) -> tuple[tuple[str, ...], Floats]:
    """Return (labels, chances (n, labels)); rows sum to 1.

    A given class is certain and counted in its complex (`targets.catalogue.classes.label_of`). An unknown one
    is spread over all labels: the shares of its orbit's zone, times - where the albedo is known - the
    likelihood of that albedo for each label (a normal law in log10 albedo), normalised (Bayes). So
    an unknown class is never the best case. Sources beside the tables in `targets.catalogue.classes`.
    """
    chances = zone_shares(catalogue.a_au, catalogue.e)
    chances = _sharpened(chances, albedos(catalogue))
    of_text = {text: label_of(text) for text in set(catalogue.taxonomy)}
    column = np.array(
        [LABELS.index(of_text[text]) if of_text[text] else -1 for text in catalogue.taxonomy], dtype=np.intp
    )
    given = column >= 0
    chances[given] = np.eye(len(LABELS))[column[given]]
    return LABELS, chances


def row_labels(taxonomy: Sequence[str]) -> tuple[str, ...]:
    """Return the labels a row's `taxonomy` list asks for; InputError for a class finer than the labels."""
    unknown = [text for text in taxonomy if text not in LABELS]
    if unknown:
        raise InputError(
            "a row can only ask for the classes bodies are counted in",
            place="science.rows.where.taxonomy",
            found=", ".join(unknown),
            expected=", ".join(LABELS),
        )
    return tuple(label for label in LABELS if label in taxonomy)


def taxonomy_chances(catalogue: Catalogue, taxonomy: Sequence[str] | None) -> Floats:
    """Return the chance (n,) that each body is of one of a row's classes; 1 where the row asks for none."""
    if not taxonomy:
        return np.ones(len(catalogue))
    wanted = np.isin(LABELS, row_labels(taxonomy))
    return np.minimum(class_chances(catalogue)[1] @ wanted, 1.0)


def body_matches(catalogue: Catalogue, where: Any) -> NDArray[np.bool_]:
    """Return (n,) whether each body satisfies what a row's `where` asks, its class aside.

    `where` is a mapping or an object with attributes; keys that are absent or None ask nothing.
    Limits are inclusive. What is not known never satisfies: an unknown albedo or spin period no limit on it,
    an unknown family no list, and a body not known to be single or double neither `binary = false` nor
    `true`. Diameters that are assumed count (`diameters` says which). `taxonomy_chance_min` bars bodies
    whose chance of the row's classes is smaller; those that pass still count with their chance.
    """
    asked = _asked(where)
    size_km, _ = diameters(catalogue)
    fits = np.ones(len(catalogue), dtype=bool)
    for quantity, values in (
        ("diameter_km", size_km),
        ("albedo", albedos(catalogue)),
        ("h_mag", catalogue.h_mag),
        ("spin_period_h", spin_periods_h(catalogue)),
    ):
        fits &= _within(values, asked.get(f"{quantity}_min"), asked.get(f"{quantity}_max"))
    if asked.get("u_max") is not None:
        fits &= catalogue.u_code <= asked["u_max"]
    if asked.get("visited") is not None:
        fits &= catalogue.visited == asked["visited"]
    if asked.get("binary") is not None:
        fits &= binaries(catalogue) == int(asked["binary"])
    if asked.get("family") is not None:
        fits &= np.isin(families(catalogue).astype(str), list(asked["family"]))
    if asked.get("taxonomy_chance_min") is not None:
        # the sum of the chances may miss the limit by a rounding
        least = asked["taxonomy_chance_min"] - 1e-12
        fits &= taxonomy_chances(catalogue, asked.get("taxonomy")) >= least
    return fits


def why_not(body: Catalogue, where: Any) -> list[str]:
    """Return the keys of a row's `where` that a catalogue of one body does not satisfy, with what it is like."""
    asked = {key: value for key, value in _asked(where).items() if key in BODY_KEYS and value is not None}
    told = []
    for key, value in asked.items():
        beside = {"taxonomy": _asked(where).get("taxonomy")} if key == "taxonomy_chance_min" else {}
        if not body_matches(body, {key: value, **beside})[0]:
            told.append(f"{key} = {value}, the body: {_described(body, key, beside.get('taxonomy'))}")
    return told


def _described(body: Catalogue, key: str, taxonomy: Any) -> str:
    values: dict[str, Any] = {
        "diameter_km": diameters(body)[0][0],
        "albedo": albedos(body)[0],
        "h_mag": body.h_mag[0],
        "spin_period_h": spin_periods_h(body)[0],
        "u": float(body.u_code[0]),
        "taxonomy_chance": taxonomy_chances(body, taxonomy)[0],
    }
    stem = key.removesuffix("_min").removesuffix("_max")
    if stem in values:
        return f"{values[stem]:.3g}" if np.isfinite(values[stem]) else "unknown"
    if key == "binary":
        return {1: "true", 0: "false", -1: "unknown"}[int(binaries(body)[0])]
    return str(bool(body.visited[0])).lower() if key == "visited" else families(body)[0] or "none known"


def spin_periods_h(catalogue: Catalogue) -> Floats:
    """Return spin periods in hours, (n,); NaN where unknown."""
    held = catalogue.spin_period_h
    return np.full(len(catalogue), np.nan) if held is None else held


def binaries(catalogue: Catalogue) -> NDArray[np.int8]:
    """Return 1 for a body known to have a companion, 0 for one known to have none, -1 where unknown, (n,)."""
    held = catalogue.binary
    return np.full(len(catalogue), -1, dtype=np.int8) if held is None else held


def families(catalogue: Catalogue) -> NDArray[np.object_]:
    """Return the names of dynamical families, (n,); '' for none or unknown."""
    held = catalogue.family
    return object_column([""] * len(catalogue)) if held is None else held


def rests_on(catalogue: Catalogue, where: Any, quality_min: float) -> dict[str, NDArray[np.bool_]]:
    """Return, per kind of ASSUMPTIONS and for "any", whether a row's claim on each body rests on it, (n,).

    A claim uses what the row asks for; a quality above 0 also uses the size (hence the albedo and H where
    the size is not measured), the brightness and the uncertainty of the orbit.
    """
    asked = _asked(where)
    graded = quality_min > 0.0
    uses_size = graded or _uses(asked, "diameter_km_min", "diameter_km_max")
    size_given = np.isfinite(catalogue.diameter_km)
    albedo_known = np.isfinite(catalogue.albedo)
    unclassed = np.array([not label_of(text) for text in catalogue.taxonomy], dtype=bool)
    h_used = (uses_size & ~size_given) | graded | _uses(asked, "h_mag_min", "h_mag_max")
    u_assumed = (catalogue.assumed & ASSUMED_U) != 0
    claims = {
        "taxonomy": unclassed & bool(asked.get("taxonomy")),
        "albedo": ~size_given & ~albedo_known & uses_size,
        "h_mag": _h_assumed(catalogue) & h_used,
        "u_code": u_assumed & (graded or _uses(asked, "u_max")),
    }
    claims["any"] = np.logical_or.reduce([claims[kind] for kind in ASSUMPTIONS])
    return claims


def _uses(asked: Mapping[str, Any], *keys: str) -> bool:
    return any(asked.get(key) is not None for key in keys)


def _asked(where: Any) -> dict[str, Any]:
    if where is None:
        return {}
    if not isinstance(where, Mapping):
        return {key: getattr(where, key, None) for key in (*BODY_KEYS, *OTHER_KEYS)}
    unknown = [key for key in where if key not in BODY_KEYS and key not in OTHER_KEYS]
    if unknown:
        raise InputError(
            "a row asks for something bodies are not known by",
            place="science.rows.where",
            found=", ".join(unknown),
            expected=", ".join([*OTHER_KEYS, *BODY_KEYS]),
        )
    return dict(where)


def _within(values: Floats, low: float | None, high: float | None) -> NDArray[np.bool_]:
    fits = np.ones(len(values), dtype=bool)
    if low is not None:
        fits &= values >= low
    if high is not None:
        fits &= values <= high
    return fits


def _sharpened(chances: Floats, albedo: Floats) -> Floats:
    known = np.isfinite(albedo) & (albedo > 0.0)
    distance = (np.log10(albedo[known])[:, None] - np.log10(ALBEDO_MEDIAN)) / ALBEDO_SCATTER_DEX
    # the least distant label is scaled to 1, so an albedo far from all of them does not underflow
    exponent = -0.5 * distance**2 - np.log(ALBEDO_SCATTER_DEX)
    weighted = chances[known] * np.exp(exponent - exponent.max(axis=1, keepdims=True))
    chances[known] = weighted / weighted.sum(axis=1, keepdims=True)
    return chances


def _h_assumed(catalogue: Catalogue) -> NDArray[np.bool_]:
    return (catalogue.assumed & ASSUMED_H) != 0
