"""The question, its bodies and the mothership's path: [study], [catalogue], [mothership]."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, Strict

from swarm.study.fields import (
    FROM_MEMORY,
    OWN_CHOICE,
    BodyName,
    JdTdb,
    Name,
    Section,
    choice,
    default,
    optional,
    required,
    unset,
)
from swarm.study.sections.choices import CandidateSettings, ChoiceSettings, RetargetSettings, ShipBurn
from targets.catalogue.invented import EPOCH_JD_TDB

BELT_EPOCH = f"JD {EPOCH_JD_TDB}, the invented belt's"


class StudySettings(Section):
    """[study]: the question's name, seed and the span that holds the mothership's path and every arc."""

    name: Name
    seed: int = default(1, "-", OWN_CHOICE, ge=0, lt=2**63)
    date: JdTdb | None = optional("TDB", "study.start")
    start: JdTdb = required("TDB")
    end: JdTdb = required("TDB")

    @property
    def start_jd_tdb(self) -> float:
        return self.start

    @property
    def end_jd_tdb(self) -> float:
        return self.end

    @property
    def date_jd_tdb(self) -> float:
        """Creation date written into files, so that they do not depend on the day of the run."""
        return self.start if self.date is None else self.date


class CatalogueSettings(Section):
    """[catalogue]: where the bodies come from.

    `format = "mpc-json"` or `"mpcorb"` reads the Minor Planet Center's extended JSON or its fixed-width orbits, plain
    or gzipped. `"sbdb-csv"` or `"sbdb-json"` reads answers of JPL's Small-Body Database, with covariance where they
    have it. `"own"` reads this tool's Parquet or CSV. Each needs `file`. `"invented"` makes a belt of so many `bodies`
    from a `seed`. `visited` names a file that lists bodies seen before.
    """

    format: Literal["mpc-json", "mpcorb", "sbdb-csv", "sbdb-json", "own", "invented"]
    file: Name | None = unset()
    bodies: int | None = optional("-", ge=0, le=20_000_000)
    seed: int = default(1, "-", OWN_CHOICE, ge=0, lt=2**63)
    epoch: JdTdb | None = optional("TDB", BELT_EPOCH)
    visited: Name | None = unset()


class Leg(Section):
    """A planet the mothership meets at a date; the other keys are about the arc that leads to it."""

    body: BodyName
    date: JdTdb = required("TDB")
    revolutions: int = default(0, "-", "own choice: the direct arc", ge=0, le=10)
    branch: Literal["long-period", "short-period"] = choice(
        "long-period", "own choice: of the two arcs with revolutions"
    )
    retrograde: bool = choice(False, "own choice: with the planets")


class MothershipSettings(Section):
    """[mothership]: the mothership's path, heliocentric.

    `kind = "elements"`: osculating elements, angles ecliptic J2000; it moves under the planets (`motion = "perturbed"`)
    or about the Sun alone (`"kepler"`). `"legs"`: two-body arcs between the planets it meets at given dates, each flyby
    checked and reported. `"oem"`: a CCSDS orbit ephemeris message. `"spk"`: a SPICE file and `spk_id`. A path that is
    given is cut at manoeuvres and inside planets' spheres of influence: no arc of a probe spans one.

    With `center = "Jupiter"` elements are about that planet's centre, `a_km` in the place of `a_au`. A mothership that
    stays there is flown in the field of planet, moons and Sun, and only [[approach]] rows are screened.
    """

    kind: Literal["elements", "legs", "oem", "spk"]
    mass_kg: float = default(
        600.0, "kg", "own choice: a small deep-space bus", likely=(20, 50000), gt=0, le=1e6
    )
    epoch: JdTdb | None = optional("TDB")
    center: Name | None = unset()
    a_au: float | None = optional("au", gt=0, le=1000)
    a_km: float | None = optional("km", gt=0, le=1e9)
    e: float | None = optional("-", ge=0, lt=1)
    i_deg: float | None = optional("deg", ge=0, le=180)
    node_deg: float | None = optional("deg", ge=-360, le=360)
    argp_deg: float | None = optional("deg", ge=-360, le=360)
    mean_anomaly_deg: float | None = optional("deg", ge=-360, le=360)
    motion: Literal["perturbed", "kepler"] = choice("perturbed", "own choice: the targets move so too")
    file: Name | None = unset()
    spk_id: int | None = optional("-")
    legs: Annotated[tuple[Leg, ...], Strict(False)] = Field(default=())
    flyby_altitude_min_km: float = default(
        300.0, "km", f"{FROM_MEMORY}: planning floor at Venus, Earth and Mars", ge=0, le=1e7
    )
    flyby_mismatch_max_m_s: float = default(
        50.0, "m/s", "own choice: more is noted as a manoeuvre, less is left to targeting", ge=0, le=1e5
    )
    flyby_clear_days: float = default(
        0.25, "d", "own choice: hours each side of a planet that legs leave out", gt=0, le=100
    )
    relay_channels: int = default(1, "-", "own choice: probes heard at one time", ge=1, le=100)
    spin_rpm: float | None = optional("1/min", "none: it does not spin", gt=0, le=1000)
    spin_radius_m: float | None = optional("m", "none: no rim that probes leave from", gt=0, le=100)
    propellant_kg: float | None = optional("kg", "as much as is needed to steer for probes", ge=0, le=1e6)
    counts: bool = choice(True, "own choice: what it burns to steer for probes is propellant of the plan")
    isp_s: float = default(300.0, "s", f"{FROM_MEMORY}: of its engine", likely=(40, 5000), ge=1, le=1e5)
    divert_failure: float = default(
        1e-3,
        "-",
        "own choice: chance that it does not leave an impact course it flew for a probe",
        ge=0,
        le=1,
    )
    burns: Annotated[tuple[ShipBurn, ...], Strict(False)] = Field(default=(), max_length=20)
    choices: ChoiceSettings | None = Field(default=None)
    candidates: Annotated[tuple[CandidateSettings, ...], Strict(False)] = Field(default=(), max_length=1000)
    retarget: RetargetSettings | None = Field(default=None)
