"""The mothership's path as a decision: [mothership.choices], [[mothership.candidates]], [mothership.retarget]."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, Strict

from swarm.study.fields import OWN_CHOICE, JdTdb, Name, Section, choice, default, optional, required

# What a key of [mothership] may be: a number, a date or a text.
GridValue = int | float | str


class ChoiceSettings(Section):
    """[mothership.choices]: a grid of keys of the mothership; `swarm carriers` answers such a study.

    `grid` names keys below [mothership] with the values each may have, for instance
    `{ "mothership.legs[0].date" = ["2031-03-01 TDB", "2031-04-01 TDB"] }`: every combination is a candidate. Those
    that keep the limits are ranked by how many bodies of the catalogue one expects in reach. The best `keep` are
    searched, with all kinds of encounter that the study asks for.
    """

    grid: dict[str, Annotated[tuple[GridValue, ...], Strict(False)]] = Field(
        default_factory=dict, json_schema_extra={"unit": "-"}
    )
    keep: int = default(20, "-", OWN_CHOICE, ge=1, le=500)
    v_inf_max_km_s: float | None = optional("km/s", "no limit", gt=0, le=100)
    manoeuvre_max_m_s: float | None = optional("m/s", "no limit", ge=0, le=1e5)


class CandidateSettings(Section):
    """[[mothership.candidates]]: a path from a file of its own, beside the grid: SPK with `spk_id`, else OEM."""

    name: Name
    file: Name
    spk_id: int | None = optional("-", "none: an OEM")


class RetargetSettings(Section):
    """[mothership.retarget]: small burns of the mothership that bring more into reach, compared with none.

    A burn on one of the `dates`, of at most `budget_m_s`, is proposed by a linear map, screened exactly and charged.
    With `counts`, its propellant is part of that of the plans. With `return_by`, the mothership is back on its old path
    by then: burns halfway and on that date see to it, and are within the budget and charged, too.
    """

    dates: Annotated[tuple[JdTdb, ...], Strict(False)] = Field(
        json_schema_extra={"unit": "TDB", "source": ""}, min_length=1, max_length=100
    )
    budget_m_s: float = required("m/s", ge=0, le=1000)
    isp_s: float | None = optional("s", "none: needed where there is a budget", gt=0, le=5000)
    return_by: JdTdb | None = optional("TDB", "it does not return")
    candidates: int = default(40, "-", OWN_CHOICE, ge=1, le=500)
    counts: bool = choice(True, "own choice: kilograms are kilograms")


class ShipBurn(Section):
    """[[mothership.burns]]: an impulse of the mothership, ICRF; no arc of a probe spans it.

    With `return_by` two more impulses bring it back to its old path by that date. One halfway leads to its place on
    that date; one there takes the old velocity, except on the date of a passage of `legs`.
    """

    date: JdTdb = required("TDB")
    x_m_s: float = required("m/s", ge=-1000, le=1000)
    y_m_s: float = required("m/s", ge=-1000, le=1000)
    z_m_s: float = required("m/s", ge=-1000, le=1000)
    return_by: JdTdb | None = optional("TDB", "it does not return")


# What of [mothership] asks for a choice; a study of one path has none of it.
CHOICE_KEYS = ("choices", "candidates", "retarget")
