"""One body's answer of JPL's Small-SbdbBody Database in JSON, flattened to the fields of a query's table.

The covariance of such an answer is of (e, q, tp, node, peri, i) and refers to an epoch of its own, with
elements of its own; here it becomes that of the elements a catalogue keeps. Format: JPL's page "SBDB API".
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.catalogue.bodies import Floats

# In the order of bodies.ELEMENT_ORDER.
ELEMENT_FIELDS = ("a", "e", "i", "om", "w", "ma")
SIGMA_FIELDS = tuple(f"sigma_{name}" for name in ELEMENT_FIELDS)
# Rows of the covariance as the database labels them; further rows are parameters of the force model.
_LABELS = ("e", "q", "tp", "node", "peri", "i")
_PHYSICAL_FIELDS = ("H", "G", "diameter", "albedo", "rot_per", "spec_B", "spec_T")

_GM_SUN_AU3_D2 = GM_SUN_KM3_S2 * DAY_S**2 / AU_KM**3
# The two halves of a covariance are printed to some 16 digits each.
_TOL_SYMMETRY = 1e-9


@dataclass(frozen=True)
class SbdbBody:
    """`fields` as a query would name them; `covariance` (6, 6) in ELEMENT_ORDER, None where there is none."""

    fields: dict[str, Any]
    covariance: Floats | None = None
    at_covariance_epoch: bool = False
    covariance_unread: bool = False


def is_body(answer: Any) -> bool:
    """Tell an answer about one body from anything else JSON can hold."""
    return isinstance(answer, dict) and all(isinstance(answer.get(key), dict) for key in ("object", "orbit"))


def body_of(answer: dict[str, Any]) -> SbdbBody:
    """Return the fields of an answer for which `is_body` holds.

    Where its covariance refers to another epoch than its elements, the elements returned are those of the
    covariance's epoch: carried over years by a two-body law, a covariance can be too small by a hundred.
    """
    fields, orbit = _fields(answer), answer["orbit"]
    if not orbit.get("covariance"):
        return SbdbBody(fields)
    try:
        elements, covariance = _with_covariance(orbit)
        moved = float(orbit["epoch"]) != elements["epoch"]
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, ArithmeticError):
        return SbdbBody(fields, covariance_unread=True)
    return SbdbBody(fields | elements if moved else fields, covariance, moved)


def _fields(answer: dict[str, Any]) -> dict[str, Any]:
    named, orbit = answer["object"], answer["orbit"]
    values = _by_name(orbit.get("elements"), "value")
    sigmas = _by_name(orbit.get("elements"), "sigma")
    physical = _by_name(answer.get("phys_par"), "value")
    return {
        "pdes": named.get("des"),
        "full_name": named.get("fullname"),
        "epoch": orbit.get("epoch"),
        "condition_code": orbit.get("condition_code"),
        "equinox": orbit.get("equinox"),
        **{name: values.get(name) for name in ELEMENT_FIELDS},
        **{field: sigmas.get(name) for field, name in zip(SIGMA_FIELDS, ELEMENT_FIELDS, strict=True)},
        **{name: physical.get(name) for name in _PHYSICAL_FIELDS},
    }


def _by_name(entries: Any, key: str) -> dict[Any, Any]:
    held: Iterable[Any] = entries if isinstance(entries, list) else ()
    return {entry.get("name"): entry.get(key) for entry in held if isinstance(entry, dict)}


def _with_covariance(orbit: dict[str, Any]) -> tuple[dict[str, float], Floats]:
    """Return the elements the covariance refers to, and the covariance of those elements.

    Raises one of the errors that `body_of` names where the block is not what the format says.
    """
    block = orbit["covariance"]
    epoch = float(block["epoch"])
    if not block.get("elements") and epoch != float(orbit["epoch"]):
        raise ValueError("no elements at the epoch of the covariance")
    given = _by_name(block.get("elements") or orbit["elements"], "value")
    e, q_au, tp, i_deg, node_deg, argp_deg = (float(given[name]) for name in ("e", "q", "tp", "i", "om", "w"))
    if not 0.0 <= e < 1.0 or not q_au > 0.0:
        raise ValueError("not a closed orbit")
    a_au = q_au / (1.0 - e)
    ma_deg = mean_motion_deg_d(a_au) * (epoch - tp) % 360.0
    elements = {"epoch": epoch, "a": a_au, "e": e, "i": i_deg, "om": node_deg, "w": argp_deg, "ma": ma_deg}
    jacobian = element_jacobian(e, q_au, days_from_perihelion=epoch - tp)
    covariance = jacobian @ _labelled(block) @ jacobian.T
    if not np.isfinite([*elements.values(), *covariance.ravel()]).all():
        raise ValueError("elements or covariance are no finite numbers")
    return elements, 0.5 * (covariance + covariance.T)


def _labelled(block: dict[str, Any]) -> Floats:
    rows = [list(block["labels"]).index(label) for label in _LABELS]
    matrix = np.array(block["data"], dtype=float)[np.ix_(rows, rows)]
    variances = np.diagonal(matrix)
    if not np.isfinite(matrix).all() or (variances < 0.0).any():
        raise ValueError("not a covariance")
    scale = np.sqrt(variances)
    if not (np.abs(matrix - matrix.T) <= _TOL_SYMMETRY * np.outer(scale, scale)).all():
        raise ValueError("not symmetric")
    return matrix


def mean_motion_deg_d(a_au: float) -> float:
    """Return the mean motion of a two-body orbit round the Sun, deg/d."""
    return float(np.degrees(np.sqrt(_GM_SUN_AU3_D2 / a_au**3)))


def element_jacobian(e: float, q_au: float, *, days_from_perihelion: float) -> Floats:
    """Return d(a, e, i, node, argp, M) / d(e, q, tp, node, argp, i), (6, 6); au, d, deg.

    From a = q / (1 - e) and M = n(a) (t - tp), n proportional to a^(-3/2).
    """
    a_au = q_au / (1.0 - e)
    n_deg_d = mean_motion_deg_d(a_au)
    da = np.array([a_au / (1.0 - e), 1.0 / (1.0 - e), 0.0, 0.0, 0.0, 0.0])
    jacobian = np.zeros((6, 6))
    jacobian[0] = da
    jacobian[1, 0] = jacobian[2, 5] = jacobian[3, 3] = jacobian[4, 4] = 1.0
    jacobian[5] = -1.5 * n_deg_d / a_au * days_from_perihelion * da
    jacobian[5, 2] = -n_deg_d
    return jacobian
