"""Probes of several designs, and bodies that nothing may hit: [[designs]], [protection]."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, Strict

from swarm.study.fields import Name, Section, choice, default
from swarm.study.sections.carried import InstrumentSettings
from swarm.study.sections.entering import EntrySettings, StageSettings
from swarm.study.sections.probe import ProbeSettings

Chance = Annotated[float, Field(ge=0, le=1)]


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
    mothership, on an impact course until it has diverted, does not divert counts too. What stays bound to the planet
    after a pass of its moon may meet the moon again. That chance counts for `bound_years`; 0 says that its disposal is
    planned elsewhere.
    """

    impact_chance_max: dict[Name, Chance] = Field(
        default_factory=dict, json_schema_extra={"unit": "-", "source": "none unless given"}
    )
    carrier_included: bool = choice(True, "own choice: the limit is of the mission, whatever part of it hits")
    bound_years: float = default(
        5.0,
        "years",
        "own choice: so long what stays bound to the planet may meet the moon again",
        ge=0,
        le=20,
    )
