"""The chance that probes work: [survival]."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, Strict

from swarm.study.fields import (
    FROM_MEMORY,
    OWN_CHOICE,
    JdTdb,
    Name,
    Section,
    choice,
    default,
    optional,
    required,
    unset,
)

_WEIBULL_KEYS = (
    "dead_on_arrival",
    "weibull_shape",
    "weibull_scale_days",
    "dormancy",
    "stored_before_days",
    "release_success",
    "encounter_success",
)


class SharedGroup(Section):
    """[[survival.groups]]: probes that can be lost together, over and above the group of all probes.

    Members are known by their release date: a lot or a dispenser serves a span of releases. Those of the relay are
    known by how their data come home, those of a design (one drawing, one software) by its name in [[designs]].
    """

    name: Name
    kind: Literal["build-lot", "dispenser", "command", "relay", "design"]
    design: Name | None = unset()
    shared_fraction: float = required("-", gt=0, le=1)
    release_from: JdTdb | None = optional("TDB", "from the first release")
    release_until: JdTdb | None = optional("TDB", "to the last release")


class SurvivalSettings(Section):
    """[survival]: the simple model is one chance for all probes (`success`); "weibull" takes the phases apart.

    The phases are dead on arrival, ageing stored and active, release and encounter. `shared_fraction` is the share of
    failures in common to all probes, in either model.
    """

    model: Literal["simple", "weibull"] = choice("simple", OWN_CHOICE)
    success: float = default(
        0.75,
        "-",
        "about 75 % of 855 cubesats launched to mid-2018 (Villela et al. 2019, Int. J. Aerosp. Eng. 5063145)",
        ge=0,
        le=1,
    )
    shared_fraction: float = default(0.1, "-", f"{FROM_MEMORY}: vary it from 0 to 0.2", ge=0, le=1)
    dead_on_arrival: float = default(0.10, "-", f"{FROM_MEMORY}: launched cubesats 0.05-0.25", ge=0, le=1)
    weibull_shape: float = default(0.4, "-", f"{FROM_MEMORY}: launched cubesats 0.3-0.6", gt=0, le=10)
    weibull_scale_days: float = default(
        8228.0, "d", f"{FROM_MEMORY}: three of four that came alive work after an active year", gt=0, le=1e9
    )
    dormancy: float = default(
        0.2, "-", f"{FROM_MEMORY}: a stored day ages as 0.1-0.3 of an active one", ge=0, le=1
    )
    stored_before_days: float = default(0.0, "d", "own choice: loaded at study.start", ge=0, le=36525)
    release_success: float = default(0.98, "-", "own choice: dispensers seldom fail", ge=0, le=1)
    encounter_success: float = default(0.95, "-", "own choice: no safe mode, pointing kept", ge=0, le=1)
    groups: Annotated[tuple[SharedGroup, ...], Strict(False)] = Field(default=(), max_length=9)

    def unused(self) -> tuple[str, ...]:
        return ("success",) if self.model == "weibull" else _WEIBULL_KEYS
