"""What a probe carries beside its camera: [[designs.instruments]]."""

from __future__ import annotations

from typing import Literal

from swarm.study.fields import FROM_MEMORY, Name, Section, choice, default

# The numbers of each kind; `sigma_full` is of both that measure against their noise.
OF_KIND = {
    "camera": ("pixel_urad", "camera_exposure_ms"),
    "counter": ("radius_km", "contrast", "counts_per_s", "sigma_full"),
    "field": ("source_depth_km", "source_nt", "noise_nt", "sigma_full"),
    "sampler": ("ground_per_m3", "scale_height_km", "opening_m2", "speed_max_km_s", "counts_full"),
}


class InstrumentSettings(Section):
    """[[designs.instruments]]: what a probe carries beside its camera; each kind has its own numbers.

    `kind = "counter"`: neutrons or gammas that leak from the ground; it looks for discs of ground of `radius_km` that
    differ by `contrast`, and counts `counts_per_s` low over it. `"field"`: a magnetometer over a source of `source_nt`
    at the ground right above it, `source_depth_km` below. `"sampler"`: grains or molecules of a density that falls by e
    in `scale_height_km`; none is told above `speed_max_km_s`. `"camera"`: another camera that looks straight down.

    A pass is worth what the best of the camera and these instruments gets of it.
    """

    name: Name
    kind: Literal["camera", "counter", "field", "sampler"] = choice(
        "counter", "own choice: what maps below ground"
    )
    radius_km: float = default(
        10.0, "km", "own choice: a crater floor that never sees the Sun", likely=(0.1, 500), gt=0, le=1e4
    )
    contrast: float = default(
        0.03, "-", f"{FROM_MEMORY}: epithermal neutrons over lunar polar craters, 1-5 % fewer", gt=0, le=1
    )
    counts_per_s: float = default(
        5.0,
        "1/s",
        f"{FROM_MEMORY}: small neutron spectrometers in low lunar orbit, some a second",
        likely=(0.01, 1e4),
        gt=0,
        le=1e9,
    )
    sigma_full: float = default(
        5.0, "-", "own choice: five sigma of what is looked for is full", gt=0, le=1e4
    )
    source_depth_km: float = default(20.0, "km", "own choice: a conducting layer or crust", gt=0, le=1e5)
    source_nt: float = default(
        100.0, "nT", f"{FROM_MEMORY}: fields induced in icy moons, some tens to 200", gt=0, le=1e9
    )
    noise_nt: float = default(
        1.0, "nT", f"{FROM_MEMORY}: small magnetometers without a boom 0.5-5", gt=0, le=1e6
    )
    ground_per_m3: float = default(1e10, "1/m^3", "own choice: a thin exosphere at the ground", gt=0, le=1e25)
    scale_height_km: float = default(50.0, "km", "own choice", gt=0, le=1e5)
    opening_m2: float = default(1e-4, "m^2", "own choice: an opening of a square centimetre", gt=0, le=100)
    speed_max_km_s: float = default(
        20.0, "km/s", "own choice: what hits faster is broken to atoms", likely=(1, 100), gt=0, le=1000
    )
    counts_full: float = default(1e6, "-", "own choice: so many that flow in are full", gt=0, le=1e30)
    pixel_urad: float = default(20.0, "urad", "own choice: a narrow camera", likely=(1, 5000), gt=0, le=1e5)
    camera_exposure_ms: float = default(1.0, "ms", "own choice: short, the ground is near", gt=0, le=1e6)

    def unused(self) -> tuple[str, ...]:
        own = OF_KIND[self.kind]
        return tuple(dict.fromkeys(key for keys in OF_KIND.values() for key in keys if key not in own))
