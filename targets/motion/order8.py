"""One step of the explicit Runge-Kutta pair of order 8 with error estimates of order 5 and 3 [1]. Compiled.

The coefficients are read from scipy's published class. Whoever steps gives the rates: `stages` (13, size) holds them,
those at the step's begin in the first row and those at its end in the last.

References
----------
[1] Hairer, Norsett, Wanner, "Solving Ordinary Differential Equations I", 2nd ed., sec. II.5: DOP853
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from scipy.integrate import DOP853

A = np.ascontiguousarray(DOP853.A[:12, :12])
B = np.ascontiguousarray(DOP853.B)
C = np.ascontiguousarray(DOP853.C[:12])
E3 = np.ascontiguousarray(DOP853.E3)
E5 = np.ascontiguousarray(DOP853.E5)


@njit(cache=True)
def to_stage(s, y, h, stages, work):
    """Write the values at which the rates of stage s are asked for into `work`.

    Stage by stage, not value by value: neighbours in memory add up side by side, in the same order for each.
    """
    n = y.size
    for i in range(n):
        work[i] = 0.0
    for j in range(s):
        a = A[s, j]
        if a != 0.0:
            row = stages[j]
            for i in range(n):
                work[i] += a * row[i]
    for i in range(n):
        work[i] = y[i] + h * work[i]


@njit(cache=True)
def to_end(y, h, stages, new):
    """Write the values at the step's end into `new`."""
    n = y.size
    for i in range(n):
        new[i] = 0.0
    for j in range(12):
        row = stages[j]
        for i in range(n):
            new[i] += B[j] * row[i]
    for i in range(n):
        new[i] = y[i] + h * new[i]


@njit(cache=True)
def error_of(h, stages, new, tolerance):
    """The error of place and speed, as shares of both, in units of the tolerance; the larger."""
    worst = 0.0
    for part in range(2):
        e3 = e5 = scale = 0.0
        for i in range(3 * part, 3 * part + 3):
            a = b = 0.0
            for j in range(13):
                a += E3[j] * stages[j, i]
                b += E5[j] * stages[j, i]
            e3 += a * a
            e5 += b * b
            scale += new[i] * new[i]
        if e5 > 0.0:
            worst = max(worst, abs(h) * e5 / math.sqrt((e5 + 0.01 * e3) * scale) / tolerance)
    return worst


@njit(cache=True)
def next_factor(error):
    """By what the step is to change after one with this error."""
    return 5.0 if error == 0.0 else min(5.0, max(0.2, 0.9 * error ** (-0.125)))


@njit(cache=True)
def transition_rates(y, gradient, out):
    """Rates of the transition matrix, row by row behind place and velocity, in a field of this gradient (3, 3)."""
    for i in range(3):
        for j in range(6):
            out[6 + 6 * i + j] = y[24 + 6 * i + j]
            total = 0.0
            for m in range(3):
                total += gradient[i, m] * y[6 + 6 * m + j]
            out[24 + 6 * i + j] = total
