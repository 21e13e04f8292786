"""What an [[approach]] that the mothership steers must be beside its path, its tank and its spin."""

from __future__ import annotations

from collections.abc import Iterator

from swarm.study.kind_names import ENTRY, LOW_PASS, ORBIT
from swarm.study.problems import Problem
from swarm.study.sections.approach import ApproachSettings
from swarm.study.whole_study import Study

# Who may steer, by the kind of encounter.
STEERS = {LOW_PASS: ("probe", "carrier", "spin"), ENTRY: ("probe", "carrier"), ORBIT: ("probe",)}


def steering_relations(place: str, ask: ApproachSettings, study: Study) -> Iterator[Problem]:
    if ask.kind == ORBIT or ask.steer not in STEERS[ask.kind]:
        return  # told elsewhere
    if ask.steer == "probe":
        if "divert_after_days" in ask.model_fields_set:
            said = 'no such key with steer = "probe": the mothership never leaves its path'
            yield Problem(f"{place}.divert_after_days", f"{ask.divert_after_days:g}", said)
        return
    for j, days in enumerate(ask.release_days_before):
        if days <= ask.divert_after_days:
            said = f"more than divert_after_days, {ask.divert_after_days:g}: the mothership diverts before it arrives"
            yield Problem(f"{place}.release_days_before[{j}]", f"{days:g}", said)
    # two releases within that time would begin from a path that the mothership has left for the first of them
    spacing = study.constraints.release_spacing_days
    if ask.divert_after_days > spacing:
        said = f"at most constraints.release_spacing_days, {spacing:g}: it is back before it lets the next one go"
        yield Problem(f"{place}.divert_after_days", f"{ask.divert_after_days:g}", said)
    yield from _spin(ask, study)


def _spin(ask: ApproachSettings, study: Study) -> Iterator[Problem]:
    for key in ("spin_rpm", "spin_radius_m"):
        if ask.steer == "spin" and getattr(study.mothership, key) is None:
            yield Problem(
                f"mothership.{key}", "nothing", 'a value: an [[approach]] with steer = "spin" needs it'
            )
