"""What a team keeps in its spreadsheet beside the flight: [launch], [cost], [stations]. Numbers of the study's own."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from swarm.study.fields import FROM_MEMORY, OWN_CHOICE, Name, Section, default, required

Money = Annotated[float, Field(ge=0, le=1e12)]


class LaunchSettings(Section):
    """[launch]: whether what is launched stays under what the launcher lifts to the departure orbit.

    The mothership's dry mass is without probes, dispensers and propellant, and takes its own maturity and the system
    margin of [margins]. Its propellant is taken as given, for the largest mass. The capability is the provider's
    number for this departure: none is assumed.
    """

    capability_kg: float = required("kg", gt=0, le=1e6)
    mothership_dry_kg: float = required("kg", gt=0, le=1e6)
    mothership_propellant_kg: float = required("kg", ge=0, le=1e6)
    adapter_kg: float = default(
        0.0, "kg", "none unless given: part of what is lifted, no margin", ge=0, le=1e6
    )
    mothership_maturity_fraction: float = default(
        0.10, "-", "ECSS equipment categories: 5 % off the shelf, 10 % modified, 20 % new", ge=0, le=2
    )


class CostSettings(Section):
    """[cost]: what a swarm costs in the study's own numbers; nothing is estimated here.

    total = fixed + first probe of each design x units as learning makes them + per_kg x mass with margins
            + per_tracking_hour x hours

    `learning` is the share of its cost that a unit has when twice as many were built (T. P. Wright, Factors affecting
    the cost of airplanes, J. Aeronautical Sciences 3, 1936): the n-th unit costs n^(log2 learning) of the first.
    """

    unit: Name
    fixed: float = default(0.0, "-", "none unless given; in cost.unit", ge=0, le=1e12)
    per_probe: float = default(
        0.0, "-", "none unless given: the first of each design; in cost.unit", ge=0, le=1e12
    )
    of_design: dict[Name, Money] = Field(
        default_factory=dict,
        json_schema_extra={"unit": "-", "source": "cost.per_probe for designs not named"},
    )
    learning: float = default(1.0, "-", "own choice: every unit costs what the first does", gt=0.5, le=1)
    per_kg: float = default(0.0, "-", "none unless given: of what is released; in cost.unit", ge=0, le=1e12)
    per_tracking_hour: float = default(0.0, "-", "none unless given; in cost.unit", ge=0, le=1e9)


class StationSettings(Section):
    """[stations]: what the ground gives when encounters crowd; compared with what the plan asks, day by day."""

    antennas: int = default(1, "-", "own choice: one at a time", ge=1, le=100)
    hours_per_day: float = default(
        10.0,
        "h/d",
        f"{OWN_CHOICE}: one site sees a body near the ecliptic 8 to 12 h ({FROM_MEMORY})",
        gt=0,
        le=24,
    )
