"""The gravity of a body as normalised spherical harmonics: from the product's own file, a table, or the user's file."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from targets.base.errors import InputError
from targets.gravity.acceleration import Harmonics, harmonics
from targets.gravity.layouts import GravityTable, read_gravity
from targets.masses.massive import Mass

Floats = NDArray[np.float64]

SHIPPED = {"Moon": Path(__file__).with_name("moon.gfc")}
SHIPPED_SOURCE = "GRGM660PRIM (Lemoine et al. 2013), zonals to degree 50, all terms to degree 10"
# What GM and radius of a file may differ by from the body's own: another body's are far off.
SAME_BODY = 1e-3
# C22 and J3, not normalised, of `j_radius_km` of the body, as their J2; from memory, the papers beside them.
_FIGURES: dict[str, tuple[float, float]] = {
    "Io": (5.588e-4, 0.0),  # Anderson et al. 2001
    "Europa": (1.315e-4, 0.0),  # Anderson et al. 1998
    "Ganymede": (3.826e-5, 0.0),  # Anderson et al. 1996
    "Callisto": (1.02e-5, 0.0),  # Anderson et al. 2001
    "Titan": (1.0121e-5, 0.0),  # Iess et al. 2010
    "Enceladus": (1.5498e-3, -1.153e-4),  # Iess et al. 2014
}


@dataclass(frozen=True, eq=False)
class GravityField:
    """Coefficients c, s by (order, degree); those above `top[order]` are none.

    source : what they are from, for people
    """

    gm_km3_s2: float
    radius_km: float
    c: Floats
    s: Floats
    top: NDArray[np.int64]
    source: str

    @property
    def degree(self) -> int:
        return self.c.shape[1] - 1

    @property
    def full_degree(self) -> int:
        """Up to which degree all terms are there."""
        short = [int(top) for order, top in enumerate(self.top) if top < self.degree]
        if self.top.size <= self.degree:
            short.append(self.top.size - 1)
        return max(min(short, default=self.degree), 0)

    def compiled(self) -> Harmonics:
        return harmonics(self.gm_km3_s2, self.radius_km, self.c, self.s, self.top)

    def cut(self, degree: int, order: int | None = None) -> GravityField:
        """The same without terms above a degree; those above an order (0: zonals alone) gone, too."""
        most = degree if order is None else order
        kept = min(most, self.top.size - 1) + 1
        top = np.minimum(self.top[:kept], degree)
        kept = int((top >= np.arange(kept)).sum())
        c, s = self.c[:kept, : degree + 1], self.s[:kept, : degree + 1]
        return replace(self, c=np.ascontiguousarray(c), s=np.ascontiguousarray(s), top=top[:kept])

    def point(self) -> GravityField:
        """The pull of a point."""
        return self.cut(0)


def gravity_of(body: Mass, file: Path | None = None, *, degree: int = 100) -> GravityField:
    """The field of a body, of no more than a degree: the user's file, the product's own, or the table of masses.

    Raises InputError where the file is another body's.
    """
    if file is not None:
        table = read_gravity(file)
        _same_body(body, table, file)
        return _field(table, f"{file.name} to degree {min(table.degree, degree)}").cut(
            min(table.degree, degree)
        )
    if body.name in SHIPPED:
        return _shipped(body.name)
    return _from_figure(body)


@cache
def _shipped(name: str) -> GravityField:
    return _field(read_gravity(SHIPPED[name]), SHIPPED_SOURCE)


def _field(table: GravityTable, source: str) -> GravityField:
    """Orders down to the last that has a term; the top degree of each is that of its last term."""
    there = (table.c != 0.0) | (table.s != 0.0)
    there[0, 0] = True
    top = np.array([np.flatnonzero(row)[-1] if row.any() else -1 for row in there])
    orders = int(np.flatnonzero(top >= 0)[-1]) + 1
    top = np.maximum(top[:orders], np.arange(orders))
    c, s = table.c[:orders].copy(), table.s[:orders]
    c[0, 0] = 1.0
    return GravityField(table.gm_km3_s2, table.radius_km, c, np.ascontiguousarray(s), top, source)


def _from_figure(body: Mass) -> GravityField:
    c22, j3 = _FIGURES.get(body.name, (0.0, 0.0))
    c, s = np.zeros((3, 5)), np.zeros((3, 5))
    c[0] = (1.0, 0.0, -body.j2 / math.sqrt(5.0), -j3 / math.sqrt(7.0), -body.j4 / 3.0)
    c[2, 2] = c22 / math.sqrt(10.0 / 24.0)
    named = ["J2"] + ["C22"] * bool(c22) + ["J3"] * bool(j3) + ["J4"] * bool(body.j4)
    source = (
        f"{', '.join(named)} of the table of masses" if body.j2 else "a point: no term of its figure is known"
    )
    radius = body.j_radius_km or body.radius_km
    return GravityField(body.gm_km3_s2, radius, c, s, np.array([4, 1, 2]), source)


def _same_body(body: Mass, table: GravityTable, file: Path) -> None:
    # a field may stand on the radius of its own paper
    radius = min(
        (body.radius_km, body.j_radius_km or body.radius_km), key=lambda own: abs(own - table.radius_km)
    )
    for what, found, expected, unit in (
        ("GM", table.gm_km3_s2, body.gm_km3_s2, "km^3/s^2"),
        ("radius", table.radius_km, radius, "km"),
    ):
        if abs(found / expected - 1.0) > SAME_BODY:
            raise InputError(
                f"this is not the gravity of {body.name}", file=file, place=f"massive.gravity.{body.name}, {what}",
                found=f"{found:.10g} {unit}", expected=f"{expected:.10g} {unit}, to a thousandth",
            )  # fmt: skip
