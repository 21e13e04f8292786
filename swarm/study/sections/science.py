"""What counts, and what astronomers could find out before: [[science.rows]], [observing]."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, Strict

from swarm.study.fields import FROM_MEMORY, OWN_CHOICE, Name, Section, choice, default, optional, unset

Degrees = Annotated[float, Field(ge=-360, le=360)]
Angles = Annotated[tuple[Degrees, Degrees], Strict(False)]
Hour = Annotated[float, Field(ge=0, le=24)]
Hours = Annotated[tuple[Hour, Hour], Strict(False)]


def _angles(source: str) -> Any:
    """A key of two angles, from and until, that may be absent."""
    return Field(default=None, json_schema_extra={"unit": "deg", "source": source})


class Where(Section):
    """What a row selects on, written `where = { ... }` in its row; a key left out does not restrict.

    What is not known of a body never counts in its favour. An unknown class is spread over all classes; any other
    unknown attribute does not satisfy a row that asks for it.

    With `kind = "low-pass"` a row selects on passes of planets and moons: the body, and how the pass goes at its
    lowest point. A longitude window may go over 0: `[350, 20]`. With `kind = "entry"` it selects on the place of entry,
    its local solar time (`[18, 6]` is the night), and how deep the probe comes before it is lost.
    """

    taxonomy: Annotated[tuple[Name, ...], Strict(False)] | None = Field(default=None, min_length=1)
    taxonomy_chance_min: float | None = optional("-", gt=0, le=1)
    diameter_km_min: float | None = optional("km", ge=0)
    diameter_km_max: float | None = optional("km", gt=0)
    albedo_min: float | None = optional("-", ge=0, le=1)
    albedo_max: float | None = optional("-", gt=0, le=1)
    h_mag_min: float | None = optional("mag")
    h_mag_max: float | None = optional("mag")
    u_max: int | None = optional("-", ge=0, le=9)
    visited: bool | None = unset()
    binary: bool | None = unset()
    spin_period_h_min: float | None = optional("h", ge=0)
    spin_period_h_max: float | None = optional("h", gt=0)
    family: Annotated[tuple[Name, ...], Strict(False)] | None = Field(default=None, min_length=1)
    kind: Literal["flyby", "low-pass", "entry", "orbit"] = choice("flyby", "own choice: flybys are searched")
    # of passes and orbits
    body: Name | None = unset()
    altitude_km_max: float | None = optional("km", gt=0)
    latitude_deg: Angles | None = _angles("planetocentric")
    longitude_deg: Angles | None = _angles("east")
    sun_elevation_deg: Angles | None = _angles("Sun over the horizon below")
    resolution_m_max: float | None = optional("m", gt=0)
    dwell_s_min: float | None = optional("s", gt=0)
    # of entries
    local_time_h: Hours | None = Field(
        default=None, json_schema_extra={"unit": "h", "source": "local solar time, noon at 12"}
    )
    bar_min: float | None = optional("bar", gt=0)
    # of orbits
    hours_below_min: float | None = optional("h", "below approach.below_km in the band of latitudes", gt=0)
    count_sigma_min: float | None = optional("-", gt=0)


class ScienceRow(Section):
    """[[science.rows]]: a line of the traceability matrix: what counts, how many are needed, its weight.

    `where` selects bodies, `quality_min` the encounter; so many encounters are asked for (`baseline`), and below so
    many the mission fails (`threshold`). *Science* is the expected share of the baselines, weighted; *risk* is the
    chance that any threshold is missed.
    """

    name: Name
    where: Where = Field(default_factory=Where)
    # Below it there is no shape: with every other factor full, 0.1 is 12.6 pixels across (`resolution_score`).
    quality_min: float = default(
        0.1, "-", "own choice: 13 pixels across with every other factor of the quality full", ge=0, le=1
    )
    threshold: int = default(0, "-", "own choice: no minimum", ge=0, le=1000)
    baseline: int = default(1, "-", OWN_CHOICE, ge=1, le=1000)
    weight: float = default(1.0, "-", "own choice: rows weigh the same", gt=0, le=1e6)


class ScienceSettings(Section):
    """[science]: the rows."""

    rows: Annotated[tuple[ScienceRow, ...], Strict(False)] = Field(min_length=1, max_length=50)


class ObservingSettings(Section):
    """[observing]: what astronomers on Earth may be asked for before the probes leave."""

    magnitude_limit: float = default(
        21.5, "mag", f"{FROM_MEMORY}: telescopes of 2 m in ordinary use 21-22", ge=0, le=40
    )
    elongation_min_deg: float = default(
        60.0, "deg", f"{FROM_MEMORY}: closer to the Sun nights are short", ge=0, le=180
    )
    step_days: float = default(10.0, "d", OWN_CHOICE, gt=0, le=400)
    u_improvement: int = default(2, "-", "own choice: about one more apparition", ge=1, le=9)
