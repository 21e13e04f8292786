"""The one door to pykep.

The published wheel of pykep 3.0.1 cannot be imported: its `__init__` reads a data file that is not in the
wheel, opens the compiled core with RTLD_GLOBAL (which makes a process that also holds heyoka or pygmo abort
at exit) and changes numpy's print options. The compiled core itself is sound. So the core is loaded alone,
with default flags, under a stand-in package whose `__init__` never runs. A release that imports plainly
would still work this way; tests/reach/arcs/test_pykep_beside_others.py watches that the process exits cleanly.
"""

from __future__ import annotations

import importlib.util
import sys
import types

import numpy as np

if "pykep.core" not in sys.modules and "pykep" not in sys.modules:
    _spec = importlib.util.find_spec("pykep")
    if _spec is None or _spec.submodule_search_locations is None:
        raise ImportError("pykep is not installed")
    _package = types.ModuleType("pykep")
    _package.__path__ = list(_spec.submodule_search_locations)
    _package.__spec__ = _spec
    sys.modules["pykep"] = _package

import pykep.core as _core


def lambert_branches(
    r0_km: np.ndarray,
    r1_km: np.ndarray,
    tof_s: float,
    *,
    mu_km3_s2: float,
    clockwise: bool,
    revolutions_max: int,
) -> tuple[np.ndarray, np.ndarray]:
    """Every Lambert solution pykep finds: departure and arrival velocities, each (branches, 3).

    Branch 0 is the direct arc; branches 2 m - 1 and 2 m have m revolutions. `clockwise` is seen from +Z.
    """
    problem = _core.lambert_problem(
        [float(x) for x in r0_km],
        [float(x) for x in r1_km],
        float(tof_s),
        float(mu_km3_s2),
        clockwise,
        revolutions_max,
    )
    return np.array(problem.v0), np.array(problem.v1)


def propagate_with_transition(
    r_km: np.ndarray, v_km_s: np.ndarray, dt_s: float, *, mu_km3_s2: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Two-body motion and its (6, 6) transition matrix, by pykep."""
    (r1, v1), stm = _core.propagate_lagrangian(
        [list(map(float, r_km)), list(map(float, v_km_s))], float(dt_s), float(mu_km3_s2), True
    )
    return np.array(r1), np.array(v1), np.array(stm)
