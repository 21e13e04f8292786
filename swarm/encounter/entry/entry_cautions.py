"""What the numbers of entries do not say, where it applies."""

from __future__ import annotations

from swarm.encounter.entry.entry_judging import JudgedEntries
from swarm.encounter.entry.heating import NOT_IN_NUMBER
from swarm.encounter.entry.setting import Setting

_ABLATES_KM_S = 20.0


def cautions_of_entries(setting: Setting, judged: JudgedEntries) -> list[str]:
    """Sentences about entries of one design at one passage."""
    body, said = setting.passage.body, []
    if not judged.flown.heating_known.all():
        said.append(f"heating: {NOT_IN_NUMBER}")
    if (judged.flown.v_entry_relative_km_s > _ABLATES_KM_S).any():
        said.append(f"over {_ABLATES_KM_S:g} km/s a shell loses much of its mass: here it loses none")
    if setting.atmosphere.approximate:
        said.append(f"the atmosphere is made, not measured: {setting.atmosphere.source}")
    if body.name == "Earth":
        said.append(
            "an entry of the Earth: break-up, what reaches the ground and who is under it are not computed here; "
            "ask the authorities of re-entry safety before anything is planned on this"
        )
    if body.may_harbour_life:
        said.append(f"{body.name} may harbour life, or what leads to it: a probe that enters contaminates it")
    said.append(
        "contamination: what enters stays; planetary protection asks for its own review of every entry"
    )
    return said
