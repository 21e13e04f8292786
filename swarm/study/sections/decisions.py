"""Probe counts, the rule that chooses a plan, and what the answer hangs on: [compare], [sensitivity]."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, Strict

from swarm.study.fields import FROM_MEMORY, OWN_CHOICE, Name, Section, choice, default, optional, required

TO_BE_SET = "to be set by the project"
LIKELIHOOD_SCALE = (
    "5x5 matrix of NASA/SP-2011-3422; limits of a NASA centre's technical scale (GPR 7120.4), from memory"
)
CONSEQUENCE_SCALE = (
    "own choice: shares of science lost for minimal, minor, moderate, major and severe; "
    "handbooks (NASA/SP-2011-3422, ECSS-M-ST-80C) leave the limits to the project"
)
Bins = Annotated[tuple[float, float, float, float, float], Strict(False)]


class CompareSettings(Section):
    """[compare]: probe counts to compare, and the rule that chooses one plan of a front.

    The rules: `knee` (nearest to the ideal corner, each axis scaled to the front's range), `most-science`,
    `least-risk`, `least-propellant` (with every threshold met by at least `chance_min`), or `science-in-mass` (probes
    and dispensers, with margins, within `swarm_mass_max_kg`). All but
    `least-propellant` choose among the plans that meet all thresholds with a chance of at least `chance_least`; where
    there is none, the least risky plan is taken.
    """

    counts: Annotated[tuple[Annotated[int, Field(ge=0, le=1000)], ...], Strict(False)] = default(
        (), "-", "none unless given"
    )
    rule: Literal["knee", "most-science", "least-risk", "least-propellant", "science-in-mass"] = choice(
        "knee", OWN_CHOICE
    )
    chance_min: float = default(
        0.9, "-", "own choice: least chance that every threshold is met, for least-propellant", ge=0, le=1
    )
    chance_least: float = default(
        0.5,
        "-",
        "own choice: a plan that misses a threshold more likely than not is not chosen while another does better",
        ge=0,
        le=1,
    )
    swarm_mass_max_kg: float | None = optional("kg", gt=0, le=1e6)
    seeds: int = default(
        3, "-", "own choice: searches per count, for the spread of the answer", ge=1, le=1000
    )


class SlipFile(Section):
    """A mothership's path for a slip of the schedule: a file of its own, used at the dates it gives."""

    days: float = required("d", ge=-3650, le=3650)
    file: Name


class SensitivitySettings(Section):
    """[sensitivity]: what is changed, and by how much, to see what the answer hangs on. 0 leaves a factor out.

    Not asked unless the section is there. Each change is answered twice: the chosen plan kept unchanged, and planned
    again with the most science that its propellant buys (`effort` epochs of a short search). `slips_days = [30, -30]`
    moves a mothership of `elements` later or earlier on the same path in space and solves `legs` again. For `oem` and
    `spk` give `slip_files`: paths computed for the slip that cover `study.start` to `study.end`.
    Bins are the lower ends of five ranges of the risk table; a value on an end belongs to the higher one.
    """

    burn_limit_fraction: float = default(
        0.2, "-", "own choice: of probe.burn_limit_m_s, down and up", ge=0, lt=1
    )
    success_change: float = default(
        0.1, "-", "own choice: added to and taken from each probe's chance", ge=0, le=1
    )
    shared_fraction_change: float = default(
        0.1, "-", f"{FROM_MEMORY}: shared fractions from 0 to 0.2 are in use", ge=0, le=1
    )
    weight_fraction: float = default(0.3, "-", "own choice: of each row's weight, down and up", ge=0, lt=1)
    slips_days: Annotated[tuple[Annotated[float, Field(ge=-3650, le=3650)], ...], Strict(False)] = default(
        (), "d", "none unless given", max_length=20
    )
    slip_files: Annotated[tuple[SlipFile, ...], Strict(False)] = Field(default=(), max_length=20)
    leave_one_out: bool = choice(True, "own choice: each target of the chosen plan is left out once")
    defaults: Annotated[tuple[Name, ...], Strict(False)] = choice(
        ("probe.idle_w", "probe.transmit_w", "probe.rate_max_bit_s"),
        "own choice: power and data rate; each is moved within its range where the study leaves it at its default",
    )
    effort: int = default(2, "-", "own choice: epochs of the short search that plans again", ge=1, le=1000)
    likelihood_slip: float = default(0.3, "-", TO_BE_SET, ge=0, le=1)
    likelihood_weaker_burn: float = default(0.1, "-", TO_BE_SET, ge=0, le=1)
    likelihood_target_lost: float = default(0.05, "-", TO_BE_SET, ge=0, le=1)
    likelihood_bins: Bins = default((0.0, 0.02, 0.15, 0.25, 0.5), "-", LIKELIHOOD_SCALE)
    consequence_bins: Bins = default((0.0, 0.02, 0.05, 0.1, 0.25), "-", CONSEQUENCE_SCALE)
