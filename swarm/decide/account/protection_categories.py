"""Planetary protection as a checklist: the category that each body met suggests, and what it asks to be filed.

Categories: COSPAR Policy on Planetary Protection; what I and II ask of a mission as in Planetary Protection
Considerations for Missions to Solar System Small Bodies (National Academies, 2023), appendix B; which bodies are in
which category and what III and IV ask: from memory. The category of a mission is assigned by the responsible authority
with COSPAR's advice: this list says what to bring to it, and decides nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import pyarrow as pa

from targets.catalogue.classes import label_of

if TYPE_CHECKING:
    from targets.catalogue.bodies import Catalogue

_SEEN = "COSPAR policy, as in National Academies 2023 (26714), appendix B"
_MEMORY = "COSPAR policy, from memory"
NOT_ASKED = "nothing is asked for; say so to the authority"
PLAN = (
    "a short protection plan with possible impact targets, pre- and post-launch analyses, post-encounter and "
    "end-of-mission reports"
)
STRICT = f"{PLAN}; chance of impact and of contamination, cleanliness of assembly, bioburden where impact is likely"
ENTERED = f"{STRICT}; bioburden reduction, inventory of organics"
# Worlds that may harbour life: passed III, entered or landed on IV.
_GUARDED = ("Mars", "Europa", "Enceladus")
_NO_INTEREST = ("Sun", "Mercury", "Io")
# Labels of classes whose material is primitive: carbonaceous, water-altered, organic-rich.
_PRIMITIVE = ("C", "B", "D")
Row = tuple[str, str, str, str, str, str]


def protection_checklist(
    encounters: Iterable[tuple[str, str]], targets: Catalogue, passed: Sequence[str]
) -> pa.Table:
    """Return a row for each body that probes meet, (target, kind), and each planet the mothership passes."""
    classes = dict(zip(targets.target, targets.taxonomy, strict=True))
    rows: dict[tuple[str, str], Row] = {}
    for target, kind in encounters:
        rows.setdefault(
            (target, kind), (target, kind, *_category(target, kind, str(classes.get(target, ""))))
        )
    for planet in passed:
        rows.setdefault((planet, "mothership"), (planet, "mothership", *_category(planet, "flyby", "-")))
    names = ("body", "encounter", "category", "because", "asks", "source")
    return pa.table(
        {name: pa.array([row[k] for row in rows.values()], pa.string()) for k, name in enumerate(names)}
    )


def _category(body: str, kind: str, taxonomy: str) -> tuple[str, str, str, str]:
    """(category, because, asks, source)."""
    if body in _GUARDED:
        if kind in ("entry", "landing"):
            return "IV", "a probe enters where life may be or has been", ENTERED, _MEMORY
        return "III", "it passes where life may be or has been", STRICT, _MEMORY
    if body in _NO_INTEREST:
        return "I", "not of direct interest for chemical evolution or the origin of life", NOT_ASKED, _SEEN
    if taxonomy == "-":
        return (
            "II",
            "of interest for chemical evolution; a remote chance that contamination matters",
            PLAN,
            _MEMORY,
        )
    label = label_of(taxonomy)
    if not label:
        return "II", "its class is not known: taken as primitive until it is", PLAN, _SEEN
    if label in _PRIMITIVE:
        return "II", "primitive material", PLAN, _SEEN
    return (
        "I or II",
        f"class {label}: undifferentiated metamorphosed bodies are I; the authority decides",
        PLAN,
        _SEEN,
    )
