"""What runs on a GPU: the march and the coarse look of the sweep, a body a thread. The one door to its library.

The functions they call are compiled for the device as they stand for the processor. Bodies go through the march one by
one here, through lanes there: the same steps, and states the same to rounding (1e-3 km in ten years, see `lanes`).
"""

from __future__ import annotations

import math

from numba import cuda

from swarm.reach.screen.approaches import _SLACK_KM, _perihelion, stays_outside, strongest_pull
from targets.base.constants import GM_SUN_KM3_S2
from targets.motion.one_body import march_one
from targets.motion.perturbed import drift_growth
from targets.motion.twobody import drift

# A body is kept if it comes this much nearer than the processor's own look would need it to: rounding differs between
# the two by far less.
SLACK_KM = 100.0


@cuda.jit
def march(
    before, after, members, begin, h, steps, at_kicks, indirect, look, by_error, by_approach, states, gm,
    start_s, step_s, moments, row,
):  # fmt: skip
    """Move members of the population from one epoch to another.

    before, after : (6, n) states; may be the same array
    moments       : (rows, n) what kicks add up to before the middle goes to `row`, what comes after it to the next
    The rest is as `one_body.march_one` takes it.
    """
    k = cuda.grid(1)
    if k >= members.size:
        return
    n = members[k]
    x, y, z, vx, vy, vz, ahead, behind = march_one(
        before[0, n], before[1, n], before[2, n], before[3, n], before[4, n], before[5, n], begin, h, steps,
        (at_kicks, indirect, look), (by_error, by_approach), (states, start_s, step_s, gm),
    )  # fmt: skip
    after[0, n], after[1, n], after[2, n] = x, y, z
    after[3, n], after[4, n], after[5, n] = vx, vy, vz
    moments[row, n] = max(moments[row, n], ahead)
    if row + 1 < moments.shape[0]:
        moments[row + 1, n] = max(moments[row + 1, n], behind)


@cuda.jit
def look(nodes, moments, since_s, sample_node, half_s, leg_states, leg_bound, leg_pull, kept):
    """Keep the bodies that may come within the bound of a leg in some sample, as `approaches._sweep` looks at them.

    nodes, moments : (nodes, 6, n) and (nodes + 1, n), as `march` leaves them
    since_s        : (samples,) seconds from the node of each sample
    """
    n = cuda.grid(1)
    if n >= kept.size:
        return
    for k in range(since_s.size):
        j = sample_node[k]
        x0, y0, z0 = nodes[j, 0, n], nodes[j, 1, n], nodes[j, 2, n]
        vx0, vy0, vz0 = nodes[j, 3, n], nodes[j, 4, n], nodes[j, 5, n]
        if math.isnan(x0):  # could not be moved: the processor says so
            kept[n] = 1
            return
        perihelion = _perihelion((x0, y0, z0, vx0, vy0, vz0))
        allowance = drift_growth(x0, y0, z0, vx0, vy0, vz0) * moments[j, n]
        x, y, z, vx, vy, vz = drift(x0, y0, z0, vx0, vy0, vz0, GM_SUN_KM3_S2, since_s[k])
        r = math.sqrt(x * x + y * y + z * z)
        v = math.sqrt(vx * vx + vy * vy + vz * vz)
        pull = strongest_pull(r, v, perihelion, half_s)
        for c in range(leg_bound.shape[0]):
            if leg_bound[c, k] == 0.0:
                continue
            if not stays_outside(
                x - leg_states[c, k, 0], y - leg_states[c, k, 1], z - leg_states[c, k, 2],
                vx - leg_states[c, k, 3], vy - leg_states[c, k, 4], vz - leg_states[c, k, 5],
                half_s, pull + leg_pull[c, k], leg_bound[c, k] + allowance + _SLACK_KM + SLACK_KM,
            ):  # fmt: skip
                kept[n] = 1
                return
