"""States between the states of a table: Hermite and Lagrange polynomials over a sliding window."""

from __future__ import annotations

import numpy as np

HERMITE, LAGRANGE = "HERMITE", "LAGRANGE"


def window_size(method: str, degree: int) -> int:
    """How many states a polynomial of the degree rests on (a Hermite one takes two values from each)."""
    return max(2, (degree + 2) // 2 if method == HERMITE else degree + 1)


def interpolated(
    table_s: np.ndarray, states: np.ndarray, epochs_s: np.ndarray, *, method: str, degree: int
) -> np.ndarray:
    """(n, 6) states at `epochs_s`.

    Parameters
    ----------
    table_s  : (m,) increasing, m >= window_size(method, degree)
    states   : (m, 6) position and velocity
    epochs_s : (n,); an epoch outside the table takes the window at its end
    method   : HERMITE (positions from positions and velocities, velocities its derivative) or LAGRANGE (each
               component by itself)
    """
    size = window_size(method, degree)
    window = _windows(table_s, epochs_s, size)
    # in units of the window's length, with the epoch asked for at zero: products of small numbers keep their digits
    scale_s = table_s[window[:, -1]] - table_s[window[:, 0]]
    x = (table_s[window] - epochs_s[:, None]) / scale_s[:, None]
    values = states[window]
    if method == LAGRANGE:
        return np.einsum("nk,nkc->nc", _lagrange(x), values)
    return _hermite(x, values, scale_s)


def _windows(table_s: np.ndarray, epochs_s: np.ndarray, size: int) -> np.ndarray:
    """(n, size) indices: as many states before the epoch as after it; an odd window about the nearest state."""
    after = np.searchsorted(table_s, epochs_s, side="right")
    first = after - size // 2
    if size % 2:
        before = np.clip(after - 1, 0, len(table_s) - 1)
        later = np.clip(after, 0, len(table_s) - 1)
        nearest = np.where(epochs_s - table_s[before] <= table_s[later] - epochs_s, before, later)
        first = nearest - size // 2
    return np.clip(first, 0, len(table_s) - size)[:, None] + np.arange(size)


def _lagrange(x: np.ndarray) -> np.ndarray:
    """(n, k) values at zero of the Lagrange basis on nodes x."""
    k = x.shape[1]
    basis = np.ones_like(x)
    for j in range(k):
        for m in range(k):
            if m != j:
                basis[:, j] *= -x[:, m] / (x[:, j] - x[:, m])
    return basis


def _lagrange_slopes(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n, k) slopes of the Lagrange basis at zero, and each one's slope at its own node."""
    k = x.shape[1]
    at_zero, at_node = np.zeros_like(x), np.zeros_like(x)
    for j in range(k):
        for m in (m for m in range(k) if m != j):
            term = 1.0 / (x[:, j] - x[:, m])
            at_node[:, j] += term
            for other in (other for other in range(k) if other not in (j, m)):
                term = term * -x[:, other] / (x[:, j] - x[:, other])
            at_zero[:, j] += term
    return at_zero, at_node


def _hermite(x: np.ndarray, values: np.ndarray, scale_s: np.ndarray) -> np.ndarray:
    """Osculating polynomial: basis (1 - 2 (t - t_j) L_j'(t_j)) L_j^2 and (t - t_j) L_j^2 (Hildebrand, sec. 8.2)."""
    basis = _lagrange(x)
    slope, own_slope = _lagrange_slopes(x)
    linear = 1.0 + 2.0 * x * own_slope
    of_position, of_velocity = linear * basis**2, -x * basis**2
    position_slope = 2.0 * basis * (linear * slope - own_slope * basis)
    velocity_slope = basis * (basis - 2.0 * x * slope)
    r, v = values[..., :3], values[..., 3:] * scale_s[:, None, None]
    position = np.einsum("nk,nkc->nc", of_position, r) + np.einsum("nk,nkc->nc", of_velocity, v)
    # the slopes of position weights sum to zero: take positions relative to one of them before cancelling
    near = r - r[:, :1]
    velocity = np.einsum("nk,nkc->nc", position_slope, near) + np.einsum("nk,nkc->nc", velocity_slope, v)
    return np.hstack([position, velocity / scale_s[:, None]])
