"""Probe swarms: which bodies a mothership's probes can reach, and which plans are worth flying.

`swarm.read_study`, `screen`, `optimize`, `compare`, `sensitivity`, `refine`, `hand_off`, `what_if` and `open_run` are
the surface for scripts and notebooks; they are described in `swarm/app/surface.py` and loaded when first asked for.
"""

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from swarm.app.surface import (
        InputError,
        NothingFeasible,
        Results,
        Study,
        compare,
        hand_off,
        open_run,
        optimize,
        read_study,
        refine,
        screen,
        sensitivity,
        what_if,
    )

__all__ = [
    "InputError",
    "NothingFeasible",
    "Results",
    "Study",
    "compare",
    "hand_off",
    "open_run",
    "optimize",
    "read_study",
    "refine",
    "screen",
    "sensitivity",
    "what_if",
]


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    # numba chooses its folder when the first kernel is imported, so this comes before anything else
    import_module("swarm.run.kernel_cache").claim_kernel_cache()
    return getattr(import_module("swarm.app.surface"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


class _Surface(ModuleType):
    """This package. `swarm.optimize`, `compare`, `sensitivity` and `refine` are rooms, too: importing one would
    otherwise put it in the place of the function of the same name."""

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in __all__ and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Surface
