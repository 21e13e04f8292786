"""How large a flyby's target is in the images that come home, and how many of them can be expected.

    pixels across    D / (w b) at the aim point: diameter over the ground that one pixel sees [1]; at most the
                     detector, and what the returned data pay for where they are fewer than all kept images take
    images expected  kept images x P(hardware works) x P(data come home) x P(the pass shows the target)

w is the pixel's angle or the diffraction limit, whichever is larger (`quality.pixel_angle_rad`). Data that cannot be
sent make the images coarser, not fewer, as the judgement has it.

References
----------
[1] Larson, Wertz: Space Mission Analysis and Design, 3rd ed., 1999, ch. 9: ground sample = range x pixel angle (small
    angles; from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import ArrayLike, NDArray

from swarm.encounter.quality import pixel_angle_rad, pixels_across
from swarm.study.by_design import by_design, probe_values
from targets.catalogue.worth import diameters

if TYPE_CHECKING:
    from swarm.study.schema import ProbeSettings, Study
    from targets.catalogue.bodies import Catalogue

Floats = NDArray[np.float64]
# The judgement writes down the data that come home, not all that could: fewer than were wanted by more than rounding.
_SHORT = 1.0 - 1e-9


def images_of_flybys(study: Study, opportunities: pa.Table, judged: pa.Table, targets: Catalogue) -> pa.Table:
    """Return table `images`: opportunity, diameter_km, pixels_across, images_expected; NaN where nothing is aimed at.

    `opportunities` and `judged` row by row the same; each row by the camera of its own design.
    """
    size_km = diameters(targets.take(np.array(_of(opportunities, "target_index"), dtype=np.int64)))[0]
    aim_km, data_mbit = _of(judged, "aim_km"), _of(judged, "data_mbit")
    seen = _of(judged, "hardware") * _of(judged, "chance_returned") * _of(judged, "shown_chance")
    return pa.table(
        {
            "opportunity": opportunities["opportunity"].combine_chunks(),
            "diameter_km": size_km,
            "pixels_across": by_design(
                study,
                opportunities,
                lambda own, rows, _: pixels_home(own.probe, size_km[rows], aim_km[rows], data_mbit[rows]),
            ),
            "images_expected": probe_values(study, opportunities, "images_kept") * seen,
        }
    )


def pixels_home(
    probe: ProbeSettings, diameter_km: ArrayLike, aim_km: ArrayLike, data_mbit: ArrayLike
) -> Floats:
    """Return the diameter in pixels of the images that come home, (n,); NaN where nothing is aimed at.

    diameter_km, aim_km : (n,) size of the target, distance of the aim point from its centre
    data_mbit           : (n,) data returned, as the judgement has them
    """
    aim = np.asarray(aim_km, float)
    whole = pixels_across(
        diameter_km, np.where(aim > 0.0, aim, np.nan), ifov_urad=1e6 * pixel_angle_rad(probe)
    )
    bits_per_square = probe.images_kept * probe.bits_per_pixel
    side = np.minimum(probe.image_window * whole, probe.camera_pixels)
    wanted_mbit = np.maximum(1e-6 * bits_per_square * side**2, probe.data_min_mbit)
    paid = np.sqrt(1e6 * np.asarray(data_mbit, float) / bits_per_square) / probe.image_window
    short = np.asarray(data_mbit, float) < _SHORT * wanted_mbit
    return np.minimum(np.where(short, np.minimum(whole, paid), whole), float(probe.camera_pixels))


def _of(table: pa.Table, name: str) -> Floats:
    return np.array(table[name].to_numpy(), dtype=float)
