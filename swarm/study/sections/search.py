"""Which arcs are looked at, what a plan must keep, how hard is searched: [search], [constraints], [optimize]."""

from __future__ import annotations

from typing import Annotated

from pydantic import Strict

from swarm.study.fields import FROM_MEMORY, OWN_CHOICE, DatePair, Section, choice, default, optional


class SearchSettings(Section):
    """[search]: which arcs are looked at; chunk and step sizes belong to the study, not to the machine."""

    arc_min_days: float = default(
        30.0, "d", f"{OWN_CHOICE}: shorter arcs reach next to nothing", gt=0, le=20_000
    )
    arc_max_days: float = default(
        400.0, "d", f"{FROM_MEMORY}: cruise life of a small probe about a year", gt=0, le=20_000
    )
    revolutions_max: int = default(2, "-", OWN_CHOICE, ge=0, le=10)
    both_directions: bool = choice(True, "own choice: nothing is left out")
    slot_days: float = default(10.0, "d", OWN_CHOICE, gt=0, le=1000)
    chunk_bodies: int = default(20_000, "-", "own choice: a task of seconds", ge=1, le=1_000_000)
    step_days: float = default(
        24.0, "d", "own choice: its error is tested against a full integration", gt=0, le=64
    )


class ConstraintSettings(Section):
    """[constraints]: what every plan must keep."""

    release_spacing_days: float = default(7.0, "d", f"{FROM_MEMORY}: range 3-30 days", ge=0, le=10_000)
    blackouts: Annotated[tuple[DatePair, ...], Strict(False)] = default((), "TDB", "none unless given")
    sun_earth_probe_min_deg: float = default(
        5.0, "deg", f"{FROM_MEMORY}: links fail below about 3 deg, range 3-7", ge=0, le=180
    )
    pairs: bool = choice(False, "own choice: one probe per target")
    releases_max: int = default(0, "-", "own choice: any number of releases in a window", ge=0, le=1000)
    release_window_days: float = default(30.0, "d", OWN_CHOICE, gt=0, le=10_000)
    event_clear_before_days: float = default(
        7.0,
        "d",
        f"{FROM_MEMORY}: no release in the week before a flyby or manoeuvre of the mothership",
        ge=0,
        le=1000,
    )
    event_clear_after_days: float = default(
        3.0, "d", f"{FROM_MEMORY}: the mothership's orbit is known again after three days", ge=0, le=1000
    )
    downlink_clear_days: float = default(
        0.0,
        "d",
        "own choice: conjunction after the encounter lowers the chance of data, no more",
        ge=0,
        le=1000,
    )
    sun_range_min_au: float = default(0.0, "au", "none unless given", ge=0, le=1000)
    sun_range_max_au: float = default(1000.0, "au", "none unless given", gt=0, le=1000)
    burn_share_max: float = default(
        0.02, "-", "a longer burn is not impulsive: 2 % of the time to the encounter, from memory", gt=0, le=1
    )
    release_sun_angle_min_deg: float = default(
        0.0, "deg", "none unless given; the release axis against the Sun, 30 from memory", ge=0, le=180
    )
    release_sun_angle_max_deg: float = default(
        180.0, "deg", "none unless given; 150 from memory", ge=0, le=180
    )
    recontact_km: float = default(
        10.0, "km", f"{FROM_MEMORY}: least distance from the mothership and between probes", ge=0, le=1e6
    )
    recontact_after_days: float = default(
        1.0, "d", f"{FROM_MEMORY}: a probe leaves slowly in the first day after its burn", ge=0, le=1000
    )
    relay_busy_days: float = default(
        0.0, "d", "own choice: no relay; encounters served by one need so many days each", ge=0, le=1000
    )
    tracking_hours_per_week: float | None = optional("h/week", "as many as are needed", gt=0, le=10_000)
    tracking_cruise_hours_per_week: float = default(
        4.0, "h/week", f"{FROM_MEMORY}: two passes of 2 h for each probe", ge=0, le=168
    )
    tracking_encounter_hours_per_day: float = default(8.0, "h/d", f"{FROM_MEMORY}: a pass a day", ge=0, le=24)
    tracking_encounter_days: float = default(
        7.0, "d", f"{FROM_MEMORY}: from so long before the encounter until so long after it", ge=0, le=1000
    )


class OptimizeSettings(Section):
    """[optimize]: the effort of the search; part of the question, since it is part of the answer."""

    islands: int = default(4, "-", OWN_CHOICE, ge=1, le=1000)
    population: int = default(64, "-", OWN_CHOICE, ge=8, le=100_000, multiple_of=4)
    epochs: int = default(20, "-", OWN_CHOICE, ge=1, le=100_000)
    generations_per_epoch: int = default(25, "-", OWN_CHOICE, ge=1, le=100_000)
    archive: int = default(2000, "-", OWN_CHOICE, ge=8, le=1_000_000)
    stall_epochs: int = default(
        5, "-", "own choice: epochs without gain after which the search ends; 0 is never", ge=0, le=100_000
    )
    stall_share: float = default(1e-4, "-", "own choice: a smaller gain of hypervolume is none", ge=0, le=1)
    repeats: int = default(
        1, "-", "own choice: searches with seeds of their own, the front is of all", ge=1, le=1000
    )
    stop_after_s: float | None = optional(
        "s", "never by the clock: such a run is not repeatable", gt=0, le=1e7
    )
    levels: int = default(40, "-", "own choice: propellant levels of the proven bound", ge=1, le=1000)
    polish_steps: int = default(
        4,
        "-",
        "own choice: releases between two slots for the targets of the front; 1 is no polishing",
        ge=1,
        le=100,
    )
    constraint_costs: bool = choice(True, "own choice: what the front would gain without each constraint")
