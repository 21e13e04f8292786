"""How likely something is that happened in some of so many samples."""

from __future__ import annotations

from dataclasses import dataclass

from scipy.special import betaincinv

CONFIDENCE = 0.95


@dataclass(frozen=True)
class Chance:
    """Something that happened in `hits` of `samples` dispersed trajectories.

    kind     : "separation" (turns back towards what it was released with), "recontact" (nearer than the study's
               limit), "manoeuvre" (the same, after a later manoeuvre of the mothership), "impact" (on any planet),
               "earth" (on the Earth)
    part     : of the probe's loose part, not of the probe itself
    other    : what is met: "mothership", "probe 3", "part 3"; not used for impacts
    years    : looked at for so long
    least_km : over all samples: for a separation the distance after an hour, for meetings the least one
    unburned : of the probe as it drifts on if it dies before its burn
    """

    kind: str
    probe: int
    part: bool
    other: str
    hits: int
    samples: int
    years: float
    least_km: float
    unburned: bool = False

    @property
    def interval(self) -> tuple[float, float]:
        """Clopper-Pearson interval of the chance, 95 %."""
        return binomial_interval(self.hits, self.samples)

    @property
    def name(self) -> str:
        return name_of(self.probe, self.part) + (" without its burn" if self.unburned else "")


def name_of(probe: int, part: bool) -> str:
    """What a released object is called in tables and sentences."""
    return f"{'part' if part else 'probe'} {probe}"


def binomial_interval(hits: int, samples: int, *, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return the exact two-sided interval of Clopper and Pearson (1934), Biometrika 26:404."""
    if samples == 0:
        return 0.0, 1.0
    tail = 0.5 * (1.0 - confidence)
    low = float(betaincinv(hits, samples - hits + 1, tail)) if hits else 0.0
    high = float(betaincinv(hits + 1, samples - hits, 1.0 - tail)) if hits < samples else 1.0
    return low, high
