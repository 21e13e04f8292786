"""Where low passes really arrive: errors of release, burns and the body's place flown in the field about the planet.

The judgement carries errors to the B-plane by matrices; here every sample is flown to its closest approach before each
correction, which undoes the miss seen there as the judgement's do: by what tracking or images of the limb know, through
the matrix of the nominal path, executed with Gates' errors. The body's own error stands still and is seen by images
alone. What a mothership that steers gives its probe is executed as badly as a burn of the probe's own.
All in km, km/s, s.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.cases import spare_km_s
from swarm.encounter.error_model import errors_of
from swarm.encounter.pass_delivery import Sight, root_of_cov, start_covariances, unknown_cov
from swarm.encounter.pass_impact import impact_radius_km
from swarm.encounter.pass_worth import failed_early
from swarm.encounter.steering import PROBE
from swarm.reach.approach.about import index_of
from swarm.reach.approach.field import OK, PlanetField, fly_to_closest, relative_to
from swarm.reach.approach.goals import aim_of, frame_of
from swarm.reach.approach.ring_chance import ring_chance
from swarm.reach.arcs.bplane import periapsis_km
from swarm.refine.pass_path import NotFollowed, burn_km_s, impulse_km_s, unburned_state
from swarm.refine.pass_samples import fly_samples
from swarm.study.schema import Study
from targets.base.constants import DAY_S
from targets.masses.massive import Mass, mass_named
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]

# First number of the spawn key of these draws; other stages use other numbers.
SPAWN_KEY = 7
# Normals of a start: place and velocity of the mothership, spring, execution of the burn; of a correction.
_START, _CORRECTION = 6 + 3 + 7, 9
# A sample's pass may be so much earlier or later than planned.
_WINDOW_S = 2.0 * DAY_S
# One that would hit is followed until it is so many radii from the centre.
_GATE_RADII = 2.0


@dataclass(frozen=True, eq=False)
class PassSpread:
    """n samples of one pass.

    b_km, dead_b_km : (n, 2) where they pass relative to the body, T R; with all corrections, and without any
    aim_km          : (2,) the nominal
    spent_m_s       : (n,) sum of the corrections; affordable: whether the probe can pay
    heights_km      : (n,) over the equatorial radius, of those that fly their corrections
    hits            : how many of those end below what must not be touched
    impact_chance   : of the probe, working or dead, by normal laws of what was flown
    """

    b_km: Floats
    dead_b_km: Floats
    aim_km: Floats
    spent_m_s: Floats
    affordable: NDArray[np.bool_]
    heights_km: Floats
    hits: int
    impact_chance: float

    @property
    def covariance_km2(self) -> Floats:
        """(2, 2) about the aim point."""
        return _about(self.b_km, self.aim_km)

    @property
    def dead_covariance_km2(self) -> Floats:
        return _about(self.dead_b_km, self.aim_km)


def disperse_pass(study: Study, row: dict[str, Any], field: PlanetField, ephemeris: Ephemeris) -> PassSpread:
    """Fly the samples of a pass; study of its design alone, row of `opportunities` as widened by `passes`.

    The numbers hang on the study's seed and the opportunity. Raises NotFollowed.
    """
    return _Scene(study, row, field, ephemeris).flown()


class _Scene:
    """The nominal pass, and what its samples are flown with."""

    def __init__(self, study: Study, row: dict[str, Any], field: PlanetField, ephemeris: Ephemeris) -> None:
        self._study, self._row, self._field, self._body = study, row, field, mass_named(row["target"])
        self._errors, self._begin = errors_of(study), float(row["burn_tdb_s"])
        self._met = float(row["encounter_tdb_s"])
        self._ship, self._burn = unburned_state(row, ephemeris), impulse_km_s(row)
        self._by_ship = row.get("steer") not in (None, PROBE)
        y = self._ship + np.concatenate([np.zeros(3), self._burn])
        met = fly_to_closest(y, self._begin, index_of(self._body), self._window, 0.0, field)
        if met.status != OK:
            raise NotFollowed("the nominal pass cannot be flown")
        relative = np.array(relative_to(index_of(self._body), met.epoch_s, y, field))
        self._frame = frame_of(relative, self._body.gm_km3_s2)
        self._aim = np.array(aim_of(relative, self._frame))
        self._before = np.array(row["corrections_before_s"], dtype=float)
        self._influences = np.array(row["by_corrections"], dtype=float).reshape(-1, 2, 6)
        self._sight = Sight(self._body.radius_km, float(row["v_inf_km_s"]), float(row["ephemeris_sigma_km"]))

    @property
    def _window(self) -> tuple[float, float]:
        return max(self._begin, self._met - _WINDOW_S), self._met + _WINDOW_S

    def flown(self) -> PassSpread:
        study, row, body = self._study, self._row, self._body
        count = study.refine.pass_samples
        key = np.random.SeedSequence(study.study.seed, spawn_key=(SPAWN_KEY, int(row["opportunity"])))
        random = np.random.Generator(np.random.PCG64(key))
        starts = self._starts(random.standard_normal((count, _START)))
        beside = self._sight.ephemeris_sigma_km * random.standard_normal((count, 2))
        numbers = random.standard_normal((len(self._before), count, _CORRECTION))
        b_km, spent = self._samples(starts, beside, numbers)
        dead, _ = self._samples(starts, beside, numbers[:0])
        spare = float(spare_km_s(study, np.array([1e3 * np.linalg.norm(burn_km_s(row))]))[0])
        heights = _heights_km(body, b_km, self._frame.v_inf)
        affordable = spent <= spare
        low = affordable & (heights <= float(row["lowest_km"]))
        return PassSpread(
            b_km=b_km, dead_b_km=dead, aim_km=self._aim, spent_m_s=1e3 * spent, affordable=affordable,
            heights_km=heights[affordable], hits=int(low.sum()), impact_chance=self._impact(b_km, dead),
        )  # fmt: skip

    def _starts(self, z: Floats) -> Floats:
        """(n, 6) after the burn: the mothership's path, the spring since the release, the burn's execution."""
        errors = self._errors
        spring = errors.spring_km_s * z[:, 6:9]
        checkout_s = DAY_S * (self._row["burn_jd_tdb"] - self._row["release_jd_tdb"])
        starts = np.tile(self._ship, (len(z), 1))
        starts[:, :3] += errors.mothership_km * z[:, :3] + checkout_s * spring
        starts[:, 3:] += errors.mothership_km_s * z[:, 3:6] + spring + self._burn
        starts[:, 3:] += _executed(np.tile(self._burn, (len(z), 1)), z[:, 9:16], errors)
        return starts

    def _samples(self, starts: Floats, beside: Floats, numbers: Floats) -> tuple[Floats, Floats]:
        """(n, 2) where samples pass the body that is `beside` its place, and (n,) what they spend."""
        count, errors = len(starts), self._errors
        dates = self._met - self._before[: len(numbers)]
        inverse = np.array([np.linalg.pinv(each[:, 3:]) for each in self._influences]).reshape(-1, 3, 2)
        roots = np.array(
            [root_of_cov(unknown_cov(each, float(before), self._sight, errors)[0])
             for each, before in zip(self._influences, self._before, strict=True)]
        ).reshape(-1, 2, 2)  # fmt: skip
        b_km, spent, lost = np.empty((count, 2)), np.zeros(count), np.zeros(count, dtype=np.int64)
        fly_samples(
            np.ascontiguousarray(starts), self._begin, np.ascontiguousarray(dates), self._window,
            index_of(self._body), _GATE_RADII * self._body.radius_km, self._frame, self._aim, beside, inverse, roots,
            numbers, (errors.fixed_km_s, errors.pointing_rad, errors.proportional), self._field,
            (b_km, spent, lost),
        )  # fmt: skip
        if lost.any():
            raise NotFollowed(f"{int(lost.sum())} of {count} samples cannot be flown")
        return b_km, spent

    def _impact(self, b_km: Floats, dead: Floats) -> float:
        """As the judgement adds it up: a failure before the corrections, or before the burn where that is worse.

        A probe that the mothership puts on its way is not dead before that.
        """
        row, body, early = self._row, self._body, failed_early(self._study)
        # aims are of the hyperbola at closest approach; where the mothership goes is of the one that it comes in by
        speeds = np.array([self._frame.v_inf, self._frame.v_inf, float(row["v_inf_km_s"])])
        discs = impact_radius_km(body, speeds, terrain_km=float(row["lowest_km"]))
        by_burn = np.array(row["by_burn"], dtype=float).reshape(2, 6)
        ship, _ = start_covariances(by_burn, self._burn, 0.0, self._errors)
        centres = np.array(
            [b_km.mean(axis=0), dead.mean(axis=0), [row["unburned_t_km"], row["unburned_r_km"]]]
        )
        spreads = np.array([_packed(np.cov(b_km.T)), _packed(np.cov(dead.T)), _packed(ship)])
        flown, uncorrected, unburned = ring_chance(centres, spreads, 0.0, discs)
        dead = uncorrected if self._by_ship else max(uncorrected, unburned)
        return float((1.0 - early) * flown + early * dead)


def _packed(cov: Floats) -> Floats:
    return np.array([cov[0, 0], cov[1, 1], cov[0, 1]])


def _about(b_km: Floats, aim_km: Floats) -> Floats:
    off = b_km - aim_km
    return np.einsum("ni,nj->ij", off, off) / len(off)


def _heights_km(body: Mass, b_km: Floats, v_inf_km_s: float) -> Floats:
    reached = periapsis_km(np.linalg.norm(b_km, axis=1), v_inf_km_s, mu_km3_s2=body.gm_km3_s2)
    return np.asarray(reached) - body.radius_km


def _executed(dv: Floats, z: Floats, errors: Any) -> Floats:
    """Gates' errors of (n, 3) burns from (n, 7) normals: fixed on each axis, proportional along, pointing across."""
    across = errors.pointing_rad * np.cross(dv, z[:, 4:7])
    out: Floats = errors.fixed_km_s * z[:, :3] + errors.proportional * z[:, 3:4] * dv + across
    return out
