"""In what light a target is approached: the angle of the line of sight from the Sun, and how far H,G is stretched."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import ArrayLike, NDArray

from swarm.study.by_design import probe_values

if TYPE_CHECKING:
    from swarm.study.schema import Study

# The H,G system is fitted to smaller phase angles; beyond this it is an extrapolation (`apparent_magnitude`).
HG_FITTED_DEG = 120.0


def sun_angle_deg(phase_in_deg: ArrayLike) -> NDArray[np.float64]:
    """Return how far from the Sun a probe looks at its target on approach, 180 deg less the phase angle there."""
    return 180.0 - np.asarray(phase_in_deg, float)


def looks_into_sun(
    phase_in_deg: ArrayLike, *, exclusion_deg: float | NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Return whether the camera would have to look nearer to the Sun than it can: no target is seen on approach."""
    return sun_angle_deg(phase_in_deg) < exclusion_deg


def light_notes(study: Study, opportunities: pa.Table) -> tuple[str, ...]:
    """Return sentences on approaches that are not seen for the Sun, and on brightness that is extrapolated."""
    phase_deg = np.array(opportunities["phase_in_deg"].to_numpy(), dtype=float)
    exclusions = sorted({own.probe.sun_exclusion_deg for own in study.by_design.values()})
    exclusion_deg = " or ".join(f"{angle:g}" for angle in exclusions)
    blind = looks_into_sun(phase_deg, exclusion_deg=probe_values(study, opportunities, "sun_exclusion_deg"))
    stretched = (phase_deg > HG_FITTED_DEG) & ~blind
    notes = []
    if blind.any():
        notes.append(
            f"{int(blind.sum())} of {len(phase_deg)} approaches look within {exclusion_deg} deg of the Sun "
            "(probe.sun_exclusion_deg): their targets are not seen before the encounter."
        )
    if stretched.any():
        notes.append(
            f"{int(stretched.sum())} of {len(phase_deg)} approaches see their targets at phase angles above "
            f"{HG_FITTED_DEG:g} deg: the range of first sight rests on H,G beyond what it is fitted to."
        )
    return tuple(notes)
