"""Before a package is called done: every file read again and compared with what was integrated.

The SPK through SPICE, ephemeris messages through the reader of the mothership, parameter messages through their own.
Places lie between nodes, so that interpolation is compared too; none is on the other side of an impulse. Labels count:
a message that says another frame or time scale is read in that, and then differs.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swarm.reach.arcs.bplane import b_vector_km
from swarm.reach.mothership.from_oem import read_oem
from swarm.reach.mothership.path import Path as MothershipPath
from swarm.refine.handoff.opm import Parameters, read_opm
from swarm.refine.handoff.spk import MOTHERSHIP_ID, probe_id, states_of, target_id
from swarm.refine.nbody import Field, closest_pass, moved, path, pressure_km3_s2
from swarm.refine.stretches import POSITION_KM, VELOCITY_KM_S, Stretch
from swarm.refine.tables import RefinedProbe
from targets.base.constants import DAY_S
from targets.base.errors import InputError

Floats = NDArray[np.float64]

_PLACES = 20
# Digits of the messages: dates to the microsecond, durations to the millisecond, masses to the milligram.
_DATE_S, _DURATION_S, _MASS_KG, _SHARE = 2e-6, 1e-3, 2e-6, 1e-9
# How far a message, flown by nothing but what it says, may pass from the aim point: its digits are worth metres.
ARRIVAL_KM = 0.05
_KICKS = 32
# A target is looked at so far before its encounter.
_TARGET_S = 20.0 * DAY_S


class ReadBackDiffers(ArithmeticError):
    """A file does not say what was integrated."""


def read_back(
    folder: Path,
    field: Field,
    flown: Sequence[RefinedProbe],
    probes: dict[int, list[Stretch]],
    *,
    mothership: Sequence[MothershipPath] = (),
) -> tuple[float, float]:
    """Return the worst differences, km and km/s. Raises ReadBackDiffers where they are too large."""
    try:
        worst = np.max(
            [_of_probe(folder, field, one, probes[one.made.arc.probe]) for one in flown] + [np.zeros(2)],
            axis=0,
        )
    except InputError as refused:
        raise ReadBackDiffers(f"a file of the package cannot be read: {refused}") from refused
    for piece, leg in enumerate(mothership):
        epochs = _between(leg.epochs_tdb_s[0], leg.epochs_tdb_s[-1])
        told = states_of(folder / "plan.bsp", MOTHERSHIP_ID, epochs, piece=piece)
        worst = np.maximum(worst, _off(told, leg.at(epochs)))
    if worst[0] > POSITION_KM or worst[1] > VELOCITY_KM_S:
        raise ReadBackDiffers(
            f"the package read back is off by {1e3 * worst[0]:.3g} m, {1e3 * worst[1]:.3g} m/s"
        )
    return float(worst[0]), float(worst[1])


def _of_probe(folder: Path, field: Field, one: RefinedProbe, stretches: Sequence[Stretch]) -> Floats:
    """(2,) worst differences of a probe's messages and of its and its target's states in the SPK."""
    made, arc = one.made, one.made.arc
    stem, spk = f"probe_{arc.probe:02d}", folder / "plan.bsp"
    worst = _of_parameters(folder, stem, one)
    _arrives(folder, field, stem, one)
    segments = read_oem(folder / f"{stem}.oem").segments
    for k, stretch in enumerate(stretches):
        epochs = _between(stretch.epochs_tdb_s[0], stretch.epochs_tdb_s[-1])
        truth = path(
            field, (made.released, made.after_burn)[k], (arc.release_tdb_s, arc.burn_tdb_s)[k], epochs,
            beta=made.beta[k],
        )  # fmt: skip
        worst = np.maximum(worst, _off(segments[k].heliocentric(epochs), truth))
        worst = np.maximum(worst, _off(states_of(spk, probe_id(arc.probe), epochs, piece=k), truth))
    epochs = _between(made.encounter_tdb_s - _TARGET_S, made.encounter_tdb_s)
    truth = path(field, made.target, made.encounter_tdb_s, epochs[::-1])[::-1]
    return np.maximum(worst, _off(states_of(spk, target_id(arc.target_index), epochs, piece=0), truth))


def _between(first: float, last: float) -> Floats:
    return np.linspace(first, last, _PLACES + 2)[1:-1]


def _off(read_back: Floats, truth: Floats) -> Floats:
    off = np.abs(read_back - truth)
    return np.array([off[..., :3].max(), off[..., 3:].max()])


def _of_parameters(folder: Path, stem: str, one: RefinedProbe) -> Floats:
    """(2,) worst differences of both parameter messages; what else they say is compared to its digits."""
    made = one.made
    release, burnt = (read_opm(folder / f"{stem}_{name}.opm") for name in ("release", "after_burn"))
    _same_parameters(
        release, made.arc.release_tdb_s, made.mass_kg[0], one.full.released_cov, f"{stem}_release.opm"
    )
    _same_parameters(
        burnt, made.arc.burn_tdb_s, made.mass_kg[1], one.full.burnt_cov, f"{stem}_after_burn.opm"
    )
    burn = release.manoeuvre
    if burn is None or burnt.manoeuvre is not None:
        raise ReadBackDiffers(f"{stem}: the burn belongs into the message at release, and only there")
    if (
        abs(burn.ignition_tdb_s + made.lead_s - made.arc.burn_tdb_s) > _DATE_S
        or abs(burn.duration_s - made.burn_s) > _DURATION_S
        or abs(burn.delta_mass_kg - (made.mass_kg[1] - made.mass_kg[0])) > _MASS_KG
        or np.abs(burn.dv_km_s - made.burn_km_s).max() > VELOCITY_KM_S
    ):
        raise ReadBackDiffers(f"{stem}_release.opm: the burn read back is another one")
    return np.maximum(_off(release.state, made.released), _off(burnt.state, made.after_burn))


def _arrives(folder: Path, field: Field, stem: str, one: RefinedProbe) -> None:
    """Fly both parameter messages by what they say themselves; raises ReadBackDiffers where one does not arrive.

    The burn of the message at release is constant thrust: it may pass as far off as was said of it.
    """
    made = one.made
    for name, allowed_km in (("release", ARRIVAL_KM + made.finite_miss_km), ("after_burn", ARRIVAL_KM)):
        probe = _flown(field, read_opm(folder / f"{stem}_{name}.opm"), made.encounter_tdb_s)
        _, probe, target = closest_pass(field, probe, made.target, made.encounter_tdb_s, beta=made.beta[1])
        off_km = float(np.linalg.norm(b_vector_km(*np.split(probe - target, 2))[0] - made.arc.aim_km))
        if not off_km <= allowed_km:
            raise ReadBackDiffers(
                f"{stem}_{name}.opm, flown as it says, passes {off_km:.3g} km off the aim point"
            )


def _flown(field: Field, said: Parameters, until_tdb_s: float) -> Floats:
    """(6,) state of a message at a later date: its burn as kicks of equal mass, solar pressure by its own fields."""
    state, now, mass = said.state, said.epoch_tdb_s, said.mass_kg
    burn = said.manoeuvre
    if burn is not None:
        masses = np.linspace(mass, mass + burn.delta_mass_kg, _KICKS + 1)
        shares = np.log(masses[:-1] / masses[1:]) / np.log(masses[0] / masses[-1])
        for k, share in enumerate(shares):
            middle = burn.ignition_tdb_s + (k + 0.5) / _KICKS * burn.duration_s
            state = moved(field, state, now, middle, beta=_pressure(said, mass)).copy()
            state[3:] += share * burn.dv_km_s
            now = middle
        mass = float(masses[-1])
    return moved(field, state, now, until_tdb_s, beta=_pressure(said, mass))


def _pressure(said: Parameters, mass_kg: float) -> float:
    return pressure_km3_s2(said.area_m2, mass_kg, said.reflectivity)


def _same_parameters(
    read_back: Parameters, epoch: float, mass_kg: float, covariance: Floats, name: str
) -> None:
    if abs(read_back.epoch_tdb_s - epoch) > _DATE_S:
        raise ReadBackDiffers(f"{name}: the epoch read back is off by {read_back.epoch_tdb_s - epoch:.6g} s")
    if abs(read_back.mass_kg - mass_kg) > _MASS_KG:
        raise ReadBackDiffers(f"{name}: the mass read back is {read_back.mass_kg:.6f} kg, not {mass_kg:.6f}")
    scale = np.sqrt(np.outer(np.diag(covariance), np.diag(covariance)))
    if (np.abs(read_back.covariance - covariance) > _SHARE * scale).any():
        raise ReadBackDiffers(f"{name}: the covariance read back is another one")
