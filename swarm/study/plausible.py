"""Values that may be meant and are more likely a slip: each is said in a sentence, none is refused."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic.fields import FieldInfo

from swarm.study.fields import Section, likely_of, unit_of
from swarm.study.whole_study import Study
from targets.base.constants import AU_KM

# What else a number may have been written in, and how many of the key's unit one of those is.
_OTHER_UNITS = {
    "m/s": (("km/s", 1e3), ("mm/s", 1e-3)),
    "kg": (("g", 1e-3), ("t", 1e3)),
    "N": (("mN", 1e-3),),
    "km": (("m", 1e-3), ("au", AU_KM)),
    "au": (("km", 1.0 / AU_KM),),
    "d": (("h", 1.0 / 24.0), ("s", 1.0 / 86_400.0), ("years", 365.25)),
    "mm": (("m", 1e3), ("cm", 10.0)),
    "ms": (("s", 1e3), ("us", 1e-3)),
    "m^2": (("cm^2", 1e-4), ("mm^2", 1e-6)),
    "W": (("mW", 1e-3), ("kW", 1e3)),
    "GHz": (("MHz", 1e-3), ("Hz", 1e-9)),
    "bit/s": (("kbit/s", 1e3), ("Mbit/s", 1e6)),
    "urad": (("rad", 1e6), ("mrad", 1e3)),
    "mrad": (("rad", 1e3), ("urad", 1e-3)),
}


def study_notes(study: Study) -> list[str]:
    """Return a sentence for each value outside what its key declares as plausible, and for each row without a floor."""
    return [*_of_sections(study), *_rows_without_floor(study)]


def burn_limit_note(study: Study) -> str | None:
    """Return what is odd about the burn limit of a screen; None where it is plausible."""
    field = type(study.probe).model_fields["burn_limit_m_s"]
    return _note("probe.burn_limit_m_s", study.probe.burn_limit_m_s, field)


def _of_sections(study: Study) -> Iterator[str]:
    sections = {name: getattr(study, name) for name in Study.model_fields}
    if study.designs:
        del sections["probe"]  # stands for the designs
        sections |= {f"designs[{k}]": design for k, design in enumerate(study.designs)}
    for name, section in sections.items():
        if isinstance(section, Section):
            for key, field in type(section).model_fields.items():
                value = getattr(section, key)
                if isinstance(value, int | float) and (said := _note(f"{name}.{key}", value, field)):
                    yield said


def _note(key: str, value: float, field: FieldInfo) -> str | None:
    likely = likely_of(field)
    if likely is None or likely[0] <= value <= likely[1]:
        return None
    unit, (low, high) = unit_of(field), likely
    side = f"less than {low:g}" if value < low else f"more than {high:g}"
    said = f"{key} = {value:g}: {value:g} {unit} is {side} {unit}, which is hardly ever meant"
    for other, factor in _OTHER_UNITS.get(unit, ()):
        if low <= value * factor <= high:
            return f"{said}; were {other} meant?"
    return said


def _rows_without_floor(study: Study) -> Iterator[str]:
    for k, row in enumerate(study.science.rows):
        if row.quality_min == 0.0:
            yield (
                f"science.rows[{k}].quality_min = 0: an encounter whose images show nothing of its target "
                f'counts for the row "{row.name}"'
            )
