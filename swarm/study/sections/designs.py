"""Probes of several designs, and bodies that nothing may hit: [[designs]], [protection]."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, Strict

from swarm.study.fields import FROM_MEMORY, Name, Section, choice, default
from swarm.study.sections.entering import EntrySettings, StageSettings
from swarm.study.sections.probe import ProbeSettings

Chance = Annotated[float, Field(ge=0, le=1)]


class InstrumentSettings(Section):
    """[[designs.instruments]]: what a probe carries beside its camera.

    `kind = "counter"`: neutrons or gammas that leak from the ground; it looks for discs of ground of `radius_km` that
    differ by `contrast`, and counts `counts_per_s` low over it.
    """

    name: Name
    kind: Literal["counter"] = choice("counter", "own choice: what this version computes beside the camera")
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


class DesignSettings(ProbeSettings):
    """[[designs]]: probes of several designs in the place of [probe]: every key of it, a name, and what it takes.

    A plan flies at most `count` of each design. Every opportunity is of one design: found within its burn limit, judged
    with its camera, radio and power, and charged with its masses.
    """

    name: Name
    takes: Annotated[tuple[Literal["flyby", "low-pass", "entry", "orbit"], ...], Strict(False)] = Field(
        default=("flyby",), min_length=1, json_schema_extra={"source": "own choice: flybys"}
    )
    instruments: Annotated[tuple[InstrumentSettings, ...], Strict(False)] = Field(default=(), max_length=10)
    entry: EntrySettings | None = Field(default=None)
    stages: Annotated[tuple[StageSettings, ...], Strict(False)] = Field(default=(), max_length=10)


class ProtectionSettings(Section):
    """[protection]: bodies that the swarm may hit with no more than a small chance.

    `impact_chance_max = { Europa = 1e-4 }` limits the chances of all probes of a plan together, dead ones included:
    a sum, which is never less than the chance of at least one impact. With `carrier_included` the chance that the
    mothership, on an impact course until it has diverted, does not divert counts too.
    """

    impact_chance_max: dict[Name, Chance] = Field(
        default_factory=dict, json_schema_extra={"unit": "-", "source": "none unless given"}
    )
    carrier_included: bool = choice(True, "own choice: the limit is of the mission, whatever part of it hits")
