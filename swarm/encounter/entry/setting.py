"""What an approach of entries is flown in: air, shell, limits, links, all of one design at one passage."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.entry.air_motion import Course
from swarm.encounter.entry.arrival import Asymptote, asymptote_of
from swarm.encounter.entry.corridor import Corridor, corridor_of
from swarm.encounter.entry.heating import CONVECTIVE, NONE, RADIATIVE
from swarm.encounter.entry.relay import RelayRules
from swarm.encounter.entry.shell import Shell, ShellLimits, shell_of
from swarm.encounter.entry.world import Globe, world_of
from swarm.encounter.steering import PROBE, SteeredBy, steered_by
from swarm.reach.approach.carrier import Places, carrier_about, sampled
from swarm.reach.approach.entry_goals import Interface
from swarm.reach.approach.entry_rows import interface_of
from swarm.reach.approach.passage import Passage
from swarm.reach.approach.scene import Scene
from swarm.study.entry_relations import interface_km
from swarm.study.schema import Study
from swarm.study.sections.approach import ApproachSettings
from swarm.study.sections.designs import DesignSettings
from targets.atmospheres.air import Air, height_of_temperature_km, pressure_pa
from targets.atmospheres.atmosphere import GAS_OF_BODY, Atmosphere
from targets.atmospheres.own_atmosphere import read_own_atmosphere
from targets.atmospheres.shipped import NAMES as SHIPPED
from targets.atmospheres.shipped import atmosphere_named, shipped_for
from targets.masses.rotation import body_axes

Floats = NDArray[np.float64]

# Why a probe is not heard of any more.
LOST_END, LOST_PRESSURE, LOST_HEAT, LOST_BATTERY, LOST_GROUND = range(5)
LOST_REASONS = (
    "end_bar is reached",
    "pressure over entry.survives_bar",
    "hotter than entry.survives_kelvin",
    "the battery is empty (entry.survives_hours)",
    "it is on the ground",
)
LOST_NAMES = ("end", "pressure", "heat", "battery", "ground")
# Without a depth of its own the air's part of a link is stated from here.
_ZENITH_BAR = 10.0
# No descent is followed longer (`descent`).
_LONGEST_S = 172_800.0


@dataclass(frozen=True, eq=False)
class Setting:
    """One design at one passage; `place` is the mothership's, from the body's centre, None where it is not known.

    steered_by   : the mothership, and with what; None where the probe steers
    end_pa, lost : pressure at which the probe is lost, and why
    life_s       : after the interface the battery is empty
    """

    study: Study
    ask: ApproachSettings
    design: DesignSettings
    passage: Passage
    atmosphere: Atmosphere
    interface: Interface
    world: Globe
    turn: Floats
    asymptote: Asymptote
    shell: Shell
    limits: ShellLimits
    rules: RelayRules
    end_pa: float
    lost: int
    life_s: float
    place: Places | None
    steered_by: SteeredBy | None

    def air(self, spread: float = 0.0) -> Air:
        return self.atmosphere.air(spread, self.ask.density_sigma, self.interface.height_km)

    @property
    def burn_limit_m_s(self) -> float:
        """Of the probe; what the mothership burns for it is limited by its tank."""
        return self.design.burn_limit_m_s if self.steered_by is None else math.inf

    @property
    def dear_at(self) -> str:
        """What limits the burns, in words."""
        if self.steered_by is None:
            return f"{self.design.burn_limit_m_s:g}"
        held = self.steered_by.tank_kg
        return "the mothership's, without limit" if math.isinf(held) else f"the mothership's {held:g} kg"

    @property
    def course(self) -> Course:
        return Course(self.end_pa, 0.0, self.ground_km)

    @property
    def ground_km(self) -> float:
        return float(min(self.atmosphere.height_km[0], 0.0))

    def corridor(self) -> Corridor:
        return corridor_of(
            self.asymptote, self.interface, turn=self.turn, world=self.world, air_at=self.air, shell=self.shell,
            limits=self.limits, ground_km=self.ground_km,
        )  # fmt: skip


def atmosphere_for(study: Study, ask: ApproachSettings) -> Atmosphere:
    """The atmosphere of an approach: the one named or the body's, or the study's file."""
    name = ask.atmosphere or shipped_for(ask.body)
    assert name is not None
    if name in SHIPPED:
        return atmosphere_named(name)
    return read_own_atmosphere(
        study.base / name, body=ask.body, gas=GAS_OF_BODY[ask.body], interface_km=interface_km(ask)
    )


def setting_at(scene: Scene, ask: ApproachSettings, design: DesignSettings, passage: Passage) -> Setting:
    """The setting of a design at a passage of a scene; the mothership's places are sampled, to be sent to workers.

    Raises InputError where the mothership is to steer and its own way past is not known.
    """
    flyby = scene.flyby_at(passage)
    found = carrier_about(passage, scene.states, scene.ephemeris, flyby)
    place = None
    if found is not None:
        offsets = [60.0 * minutes for minutes in ask.arrival_offsets_min]
        first, last = passage.closest_tdb_s + min(offsets), passage.closest_tdb_s + max(offsets)
        # along legs a hyperbola joins them, whatever the path's own end; a file ends where it ends
        until = math.inf if flyby is not None else scene.span_tdb_s[1]
        place = sampled(found, first - 600.0, last + _LONGEST_S, until_tdb_s=until)
    by = None if ask.steer == PROBE else steered_by(scene.study, ask, scene.own_aim_km(ask, passage))
    return setting_of(scene.study, ask, design, passage, place, by)


def setting_of(
    study: Study,
    ask: ApproachSettings,
    design: DesignSettings,
    passage: Passage,
    place: Places | None,
    by: SteeredBy | None = None,
) -> Setting:
    """Put together what a design's entries at a passage hang on."""
    body, atmosphere, met = passage.body, atmosphere_for(study, ask), passage.closest_tdb_s
    entry = design.entry
    assert entry is not None
    shell = shell_of(
        mass_kg=design.wet_mass_kg, diameter_m=entry.diameter_m, drag_coefficient=entry.drag_coefficient,
        nose_m=entry.nose_radius_m, convective=CONVECTIVE[atmosphere.gas], radiative=RADIATIVE.get(body.name, NONE),
        stages=[(s.at, s.value, s.area_m2, s.drag_coefficient, s.mass_kg) for s in design.stages],
    )  # fmt: skip
    end_pa, lost = _end(ask, design, atmosphere)
    return Setting(
        study, ask, design, passage, atmosphere, interface_of(passage, interface_km(ask)),
        world_of(body, met, wind_m_s=ask.wind_m_s), np.ascontiguousarray(body_axes(body, met)[0]),
        asymptote_of(passage.v_inf_km_s, body.gm_km3_s2), shell,
        ShellLimits(
            entry.decel_limit_g or math.inf, entry.heat_flux_limit_w_cm2 or math.inf,
            entry.heat_load_limit_j_cm2 or math.inf,
        ),
        RelayRules(ask.relay_elevation_min_deg, ask.zenith_db, 1e5 * _ZENITH_BAR, ask.blackout_g),
        end_pa, lost, 3600.0 * (entry.survives_hours or math.inf), place, by,
    )  # fmt: skip


def _end(ask: ApproachSettings, design: DesignSettings, atmosphere: Atmosphere) -> tuple[float, int]:
    """The pressure at which the probe is lost, the least of what ends it, and why."""
    entry, air = design.entry, atmosphere.air()
    assert entry is not None
    ends = [(float(atmosphere.pressure_pa[0]), LOST_GROUND if atmosphere.height_km[0] >= 0.0 else LOST_END)]
    if ask.end_bar is not None:
        ends.append((1e5 * ask.end_bar, LOST_END))
    if entry.survives_bar is not None:
        ends.append((1e5 * entry.survives_bar, LOST_PRESSURE))
    if entry.survives_kelvin is not None:
        height = height_of_temperature_km(entry.survives_kelvin, air)
        if math.isfinite(height):
            ends.append((float(pressure_pa(height, air)), LOST_HEAT))
    return min(ends)
