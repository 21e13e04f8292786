"""A filter on a GPU before the screen: which bodies of a population are worth the exact look. An optional extra.

The march and the coarse look of the sweep run for the whole population on one device. A body is dropped only where it
stays outside the reach bound of every leg by `SLACK_KM` more than the processor would ask, and whoever cannot be moved
is kept. What is kept goes through the screen as ever, so tables keep their bytes.

Nothing else needs the library (`numba-cuda`, kept by the maker of the devices; `pip install 'swarm-flyby[gpu]'`): it is
brought along only where a device is asked for.
"""

from __future__ import annotations

import importlib
import math
from types import ModuleType
from typing import Any

import numpy as np

from swarm.reach.screen.approaches import MothershipLeg, _coarse_samples
from targets.base.constants import JULIAN_YEAR_S
from targets.base.errors import InputError
from targets.ephemeris.planets import PlanetTable
from targets.motion.kicks import far_enough
from targets.motion.perturbed import _kick_schedule, _steps

# Bodies on the device at a time: eleven nodes of 300 000 bodies are 160 MB.
_AT_ONCE = 300_000
_THREADS = 128


def require_device() -> ModuleType:
    """The kernels, with the library that drives the device; InputError, with what is missing, where there is none."""
    try:
        kernels = importlib.import_module("swarm.reach.screen.device_kernels")
        there, why = kernels.cuda.is_available(), "no device that can be used"
    except Exception as error:  # whatever a driver that is not there shows as
        there, why = False, f"{type(error).__name__}: {error}"
    if not there:
        raise InputError(
            "no GPU to filter the population on",
            found=why,
            expected="a CUDA device and `pip install 'swarm-flyby[gpu]'`; without --gpu the same tables are made",
        )
    return kernels


def worth_a_look(
    epoch_tdb_s: np.ndarray,
    states: np.ndarray,
    legs: tuple[MothershipLeg, ...],
    planets: PlanetTable,
    *,
    span_tdb_s: tuple[float, float],
    step_s: float,
) -> np.ndarray:
    """Mask (n,) of the bodies that the screen has to look at.

    epoch_tdb_s : (n,) epochs of the bodies
    states      : (n, 6) heliocentric ICRF, km and km/s, each at its epoch

    Guarantee
    ---------
    A body for which `find_approaches` finds anything is in the mask. Tested in tests/reach/screen/test_on_device.py.
    """
    kernels = require_device()
    kept = np.zeros(len(states), dtype=bool)
    for first in range(0, len(states), _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        device = _Population(kernels, epoch_tdb_s[some], states[some])
        device.to_nodes(planets, span_tdb_s, step_s)
        kept[some] = device.near(legs)
    return kept


class _Population:
    """Bodies on the device: their states at the nodes of `perturbed.prepare`, and how far two-body motion strays."""

    def __init__(self, kernels: ModuleType, epoch_tdb_s: np.ndarray, states: np.ndarray) -> None:
        self._cuda, self._kernels = kernels.cuda, kernels
        self._epochs, self._states = epoch_tdb_s, states
        self._count = len(states)
        self._blocks = math.ceil(self._count / _THREADS)

    def to_nodes(self, planets: PlanetTable, span_tdb_s: tuple[float, float], step_s: float) -> None:
        """As `move_to_epoch` and `prepare`."""
        start, end = span_tdb_s
        spans = _steps(end - start, JULIAN_YEAR_S)
        self.nodes_s = np.linspace(start, end, spans + 1)
        self._table = [self._cuda.to_device(part) for part in (planets.states, planets.gm_km3_s2)]
        self._planets = planets
        at = self._cuda.to_device(np.ascontiguousarray(self._states.T))
        # the last row takes what comes before the first node, which nobody asks for
        moments = self._cuda.to_device(np.zeros((spans + 2, self._count)))
        for epoch in np.unique(self._epochs):
            members = self._cuda.to_device(np.flatnonzero(self._epochs == epoch))
            self._march(at, at, members, (float(epoch), start), step_s, moments, spans + 1)
        nodes = self._cuda.device_array((spans + 1, 6, self._count))
        nodes[0].copy_to_device(at)
        everyone = self._cuda.to_device(np.arange(self._count))
        for k in range(spans):
            between = (self.nodes_s[k], self.nodes_s[k + 1])
            self._march(nodes[k], nodes[k + 1], everyone, between, step_s, moments, k)
        self._nodes, self._moments = nodes, moments

    def _march(
        self,
        before: Any,
        after: Any,
        members: Any,
        between: tuple[float, float],
        step_s: float,
        moments: Any,
        row: int,
    ) -> None:
        """Move members from one epoch to another; what kicks add up to goes to `row` and the next of moments.

        before, after, members, moments : arrays on the device, as `device_kernels.march` takes them
        """
        begin, end = between
        if begin == end:
            after.copy_to_device(before)
            return
        steps = _steps(end - begin, step_s)
        h = (end - begin) / steps
        planets = self._planets
        schedule = _kick_schedule(
            begin, h, steps, planets.states, planets.start_tdb_s, planets.step_s, planets.gm_km3_s2
        )
        by_error, by_approach = far_enough(planets.gm_km3_s2, h)
        blocks = math.ceil(len(members) / _THREADS)
        self._kernels.march[blocks, _THREADS](
            before, after, members, begin, h, steps, *(self._cuda.to_device(part) for part in schedule),
            self._cuda.to_device(by_error), by_approach, *self._table, planets.start_tdb_s, planets.step_s,
            moments, row,
        )  # fmt: skip

    def near(self, legs: tuple[MothershipLeg, ...]) -> np.ndarray:
        """Mask of the bodies that the coarse look cannot drop, for any leg."""
        sample_s, node, half_s, states, bound, pull = _coarse_samples(self.nodes_s, legs)
        kept = self._cuda.to_device(np.zeros(self._count, dtype=np.uint8))
        self._kernels.look[self._blocks, _THREADS](
            self._nodes, self._moments, self._cuda.to_device(sample_s - self.nodes_s[node]),
            self._cuda.to_device(node), half_s,
            *(self._cuda.to_device(np.ascontiguousarray(part)) for part in (states, bound, pull)), kept,
        )  # fmt: skip
        return kept.copy_to_host().astype(bool)
