"""The encounter date of the least burn between two dates, by Brent's method without derivatives.

References
----------
[1] Brent 1973, "Algorithms for Minimization without Derivatives", ch. 5: golden sections and parabolas.
"""

from __future__ import annotations

from numba import njit

from swarm.reach.screen.burns import aimed_burn, size_of

_GOLDEN = 0.381966011250105
_MOST_STEPS = 80


@njit(cache=True)
def _parabola(x, w, v, fx, fw, fv):
    """Numerator and (positive) denominator of the step from x to the vertex of a parabola through three points."""
    r = (x - w) * (fx - fv)
    q = (x - v) * (fx - fw)
    p = (x - v) * q - (x - w) * r
    q = 2.0 * (q - r)
    if q > 0.0:
        p = -p
    return p, abs(q)


@njit(cache=True)
def date_of_least_burn(a, b, c, fb, slot, body, track, limits, tolerance):
    """Date of the least squared burn in [a, c], by Brent's method from b; fb is the burn's size there.

    b may be an end of the allowed time and itself the minimum: it stays the best until something lower is found.
    """
    x = w = v = b
    fx = fw = fv = fb * fb
    d = e = 0.0
    for _ in range(_MOST_STEPS):
        middle = 0.5 * (a + c)
        if abs(x - middle) <= 2.0 * tolerance - 0.5 * (c - a):
            break
        parabolic = False
        if abs(e) > tolerance:
            p, q = _parabola(x, w, v, fx, fw, fv)
            if abs(p) < abs(0.5 * q * e) and q * (a - x) < p < q * (c - x):
                e = d
                d = p / q
                u = x + d
                if u - a < 2.0 * tolerance or c - u < 2.0 * tolerance:
                    d = tolerance if x < middle else -tolerance
                parabolic = True
        if not parabolic:
            e = (c if x < middle else a) - x
            d = _GOLDEN * e
        u = x + (d if abs(d) >= tolerance else (tolerance if d > 0.0 else -tolerance))
        size = size_of(aimed_burn(u, slot, body, track, limits))
        fu = size * size
        if fu <= fx:
            a, c = (a, x) if u < x else (x, c)
            v, fv, w, fw, x, fx = w, fw, x, fx, u, fu
        else:
            a, c = (u, c) if u < x else (a, u)
            if fu <= fw or w == x:
                v, fv, w, fw = w, fw, u, fu
            elif fu <= fv or v in (x, w):
                v, fv = u, fu
    return x
