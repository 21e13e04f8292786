"""What the values of a study must be beside each other, and what this version can compute."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from difflib import get_close_matches

from swarm.study.approach_relations import approach_relations, unsupported_approaches
from swarm.study.choice_relations import choice_relations
from swarm.study.design_relations import design_relations, loaded_mass_kg
from swarm.study.entry_relations import entry_relations
from swarm.study.fields import Section
from swarm.study.kind_names import COMPUTED
from swarm.study.problems import Problem
from swarm.study.ranges import RANGES
from swarm.study.sections.decisions import SensitivitySettings
from swarm.study.sections.mission import CatalogueSettings, MothershipSettings
from swarm.study.sections.science import ScienceSettings
from swarm.study.sections.survival import SharedGroup, SurvivalSettings
from swarm.study.shown import shown
from swarm.study.staying_relations import keys_of_path, staying_relations
from swarm.study.whole_study import Study
from targets.base.timescale import iso_tdb
from targets.catalogue.classes import LABELS

READ_FORMATS = ("mpc-json", "mpcorb", "sbdb-csv", "sbdb-json", "own", "invented")
FLOWN_KINDS = ("elements", "legs", "oem", "spk")


def relations(study: Study) -> Iterator[Problem]:
    yield from _time_relations(study)
    yield from _work_relations(study)
    yield from _catalogue_relations(study.catalogue)
    yield from _mothership_relations(study.mothership)
    yield from _science_relations(study.science)
    yield from _survival_relations(study.survival)
    yield from design_relations(study)
    if study.sensitivity is not None:
        yield from _slip_relations(study.sensitivity, study.mothership)
        yield from _bin_relations(study.sensitivity)
        yield from _moved_relations(study.sensitivity)
    yield from approach_relations(study)
    yield from staying_relations(study)
    yield from entry_relations(study)
    yield from choice_relations(study)
    rule, limit = study.compare.rule, study.compare.swarm_mass_max_kg
    if rule == "science-in-mass" and limit is None:
        yield Problem("compare.swarm_mass_max_kg", "nothing", f'a value: rule = "{rule}" needs it')
    tank_kg = study.mothership.propellant_kg
    if tank_kg is not None and tank_kg > study.mothership.mass_kg:
        said = f"at most mothership.mass_kg, {study.mothership.mass_kg:g}, which holds it"
        yield Problem("mothership.propellant_kg", f"{tank_kg:g}", said)
    loaded_kg = loaded_mass_kg(study)
    if loaded_kg > study.mothership.mass_kg:
        yield Problem(
            "mothership.mass_kg", f"{study.mothership.mass_kg:g}", f"at least the probes' {loaded_kg:g} kg"
        )


def _time_relations(study: Study) -> Iterator[Problem]:
    span, search = study.study, study.search
    if span.end <= span.start:
        yield Problem("study.end", iso_tdb(span.end), f"a date after study.start, {iso_tdb(span.start)}")
    if search.arc_max_days <= search.arc_min_days:
        least = f"more than arc_min_days, {search.arc_min_days:g}"
        yield Problem("search.arc_max_days", f"{search.arc_max_days:g}", least)
    limits = study.constraints
    for low, high in (
        ("sun_range_min_au", "sun_range_max_au"),
        ("release_sun_angle_min_deg", "release_sun_angle_max_deg"),
    ):
        if getattr(limits, high) <= getattr(limits, low):
            found, least = f"{getattr(limits, high):g}", f"more than {low}, {getattr(limits, low):g}"
            yield Problem(f"constraints.{high}", found, least)
    for k, (begin, until) in enumerate(study.constraints.blackouts):
        if until <= begin:
            found = f"{iso_tdb(begin)} to {iso_tdb(until)}"
            yield Problem(f"constraints.blackouts[{k}]", found, "a pair [from, until] with from < until")


# Own choices: a step a day for 27 years, and a century, are more than any study needs.
_MOST_SLOTS, _MOST_YEARS = 10_000, 100.0


def _work_relations(study: Study) -> Iterator[Problem]:
    """Work without end: refused with the amount it would be."""
    span, slot_days = study.study, study.search.slot_days
    days = max(span.end - span.start, 0.0)
    if days > _MOST_SLOTS * slot_days:
        expected = f"at most {_MOST_SLOTS}: slot_days of {days / _MOST_SLOTS:.3g} or more"
        yield Problem("search.slot_days", f"{days / slot_days:.3g} release dates", expected)
    most_days = _MOST_YEARS * 365.25
    if days > most_days:
        yield Problem("study.end", f"{days / 365.25:.4g} years after study.start", f"at most {_MOST_YEARS:g}")
    for key, epoch in (
        ("mothership.epoch", study.mothership.epoch),
        ("catalogue.epoch", study.catalogue.epoch),
    ):
        if epoch is not None and abs(epoch - span.start) > most_days:
            found = f"{abs(epoch - span.start) / 365.25:.4g} years from study.start"
            yield Problem(key, found, f"at most {_MOST_YEARS:g}: orbits are followed from there")


def _catalogue_relations(settings: CatalogueSettings) -> Iterator[Problem]:
    invented = settings.format == "invented"
    needed, barred = ("bodies", ["file"]) if invented else ("file", ["bodies", "seed", "epoch"])
    if getattr(settings, needed) is None:
        yield Problem(f"catalogue.{needed}", "nothing", f'a value: format = "{settings.format}" needs it')
    yield from _barred("catalogue", settings, barred, f'format = "{settings.format}"')


_ELEMENT_KEYS = ("epoch", "a_au", "e", "i_deg", "node_deg", "argp_deg", "mean_anomaly_deg")


_LEG_KEYS = ("legs", "flyby_altitude_min_km", "flyby_mismatch_max_m_s", "flyby_clear_days")


_KEYS_OF_KIND = {
    "elements": _ELEMENT_KEYS,
    "legs": _LEG_KEYS,
    "oem": ("file", "flyby_altitude_min_km"),
    "spk": ("file", "spk_id", "flyby_altitude_min_km"),
}


def _mothership_relations(settings: MothershipSettings) -> Iterator[Problem]:
    own = keys_of_path(settings, _KEYS_OF_KIND[settings.kind])
    for key in own:
        if getattr(settings, key) in (None, ()):
            yield Problem(f"mothership.{key}", "nothing", f'a value: kind = "{settings.kind}" needs it')
    barred = [key for keys in (*_KEYS_OF_KIND.values(), ("a_km",)) for key in keys if key not in own]
    about = f', center = "{settings.center}"' if settings.center is not None else ""
    yield from _barred("mothership", settings, barred, f'kind = "{settings.kind}"{about}')
    if len(settings.legs) == 1:
        yield Problem("mothership.legs", "one entry", "at least two bodies with their dates")
    dates = [leg.date for leg in settings.legs]
    if any(later <= earlier for earlier, later in itertools.pairwise(dates)):
        yield Problem("mothership.legs", "dates out of order", "legs in order of date, one date each")


def _barred(section: str, settings: Section, keys: list[str], reason: str) -> Iterator[Problem]:
    for key in sorted(set(keys) & settings.model_fields_set):
        yield Problem(f"{section}.{key}", str(getattr(settings, key)), f"no such key with {reason}")


def _survival_relations(survival: SurvivalSettings) -> Iterator[Problem]:
    yield from _barred("survival", survival, list(survival.unused()), f'model = "{survival.model}"')
    names = [group.name for group in survival.groups]
    for k, group in enumerate(survival.groups):
        place = f"survival.groups[{k}]"
        if names.index(group.name) != k:
            yield Problem(f"{place}.name", group.name, "a name that no other group has")
        begin, until = group.release_from, group.release_until
        if begin is not None and until is not None and until <= begin:
            yield Problem(f"{place}.release_until", iso_tdb(until), f"a date after {iso_tdb(begin)}")
        of_designs = {group.design} if group.design else {other.design for other in survival.groups}
        together = survival.shared_fraction + max(
            sum(
                other.shared_fraction
                for other in survival.groups
                if _serves(other, begin) and other.design in (None, design)
            )
            for design in of_designs
        )
        # else the groups would take more than all of a member's failures; nobody is of two designs
        if together > 1.0 + 1e-12:
            found = (
                f"{together:g} for releases from its first on, with shared_fraction and overlapping groups"
            )
            yield Problem(f"{place}.shared_fraction", found, "fractions that add up to at most 1")


def _serves(group: SharedGroup, jd_tdb: float | None) -> bool:
    """Whether a group has members released at a date; None stands for the earliest."""
    begin, until = group.release_from, group.release_until
    if jd_tdb is None:
        return begin is None
    return (begin is None or begin <= jd_tdb) and (until is None or jd_tdb < until)


def _moved_relations(settings: SensitivitySettings) -> Iterator[Problem]:
    for k, key in enumerate(settings.defaults):
        if key not in RANGES:
            near = get_close_matches(key, RANGES, n=1)
            expected = (
                f"a default with a range{f', such as {near[0]}' if near else ''}: swarm help study lists them"
            )
            yield Problem(f"sensitivity.defaults[{k}]", key, expected)


def _slip_relations(settings: SensitivitySettings, ship: MothershipSettings) -> Iterator[Problem]:
    """A path from a file is never shifted in time: it would be no path among the planets any more."""
    from_file = ship.kind in ("oem", "spk")
    if from_file and settings.slips_days:
        days = settings.slips_days[0]
        expected = (
            f'slip_files = [{{ days = {days:g}, file = "..." }}], a path computed for each slip: '
            f'a path of kind = "{ship.kind}" is not shifted in time, the planets would not be where it meets them'
        )
        yield Problem("sensitivity.slips_days", shown(settings.slips_days), expected)
    if not from_file and settings.slip_files:
        found = f"{len(settings.slip_files)} files"
        yield Problem("sensitivity.slip_files", found, f'slips_days: kind = "{ship.kind}" is solved again')
    for k, slip in enumerate(settings.slip_files):
        if from_file and slip.file == ship.file:
            expected = (
                f"the path computed for this slip: the study's own file is not shifted by {slip.days:g} d"
            )
            yield Problem(f"sensitivity.slip_files[{k}].file", slip.file, expected)
    for key, listed in (
        ("slips_days", settings.slips_days),
        ("slip_files", tuple(slip.days for slip in settings.slip_files)),
    ):
        if 0.0 in listed or len(set(listed)) != len(listed):
            yield Problem(f"sensitivity.{key}", shown(listed), "days other than 0, each once")


def _bin_relations(settings: SensitivitySettings) -> Iterator[Problem]:
    for key in ("likelihood_bins", "consequence_bins"):
        ends = getattr(settings, key)
        if ends[0] != 0.0 or ends[-1] > 1.0 or any(b <= a for a, b in itertools.pairwise(ends)):
            expected = "lower ends of five bins: rising, the first 0, none above 1"
            yield Problem(f"sensitivity.{key}", shown(ends), expected)


def _science_relations(science: ScienceSettings) -> Iterator[Problem]:
    names = [row.name for row in science.rows]
    for k, row in enumerate(science.rows):
        place = f"science.rows[{k}]"
        if row.threshold > row.baseline:
            yield Problem(f"{place}.threshold", str(row.threshold), f"at most the baseline, {row.baseline}")
        if names.index(row.name) != k:
            yield Problem(f"{place}.name", row.name, "a name that no other row has")
        unknown = [label for label in row.where.taxonomy or () if label not in LABELS]
        if unknown:
            yield Problem(f"{place}.where.taxonomy", ", ".join(unknown), f"classes among {', '.join(LABELS)}")
        if row.where.taxonomy_chance_min is not None and row.where.taxonomy is None:
            found = f"{row.where.taxonomy_chance_min:g} without classes"
            yield Problem(f"{place}.where.taxonomy_chance_min", found, "where.taxonomy beside it")
        for key in ("diameter_km", "albedo", "h_mag", "spin_period_h"):
            low, high = getattr(row.where, f"{key}_min"), getattr(row.where, f"{key}_max")
            if low is not None and high is not None and high <= low:
                yield Problem(f"{place}.where.{key}_max", f"{high:g}", f"more than {key}_min, {low:g}")


def unsupported(study: Study) -> Iterator[Problem]:
    yield from unsupported_approaches(study)
    if study.catalogue.format not in READ_FORMATS:
        accepted = " or ".join(f'"{name}"' for name in READ_FORMATS)
        yield Problem(
            "catalogue.format", f'"{study.catalogue.format}", not read by this version', f"{accepted}"
        )
    if study.mothership.kind not in FLOWN_KINDS:
        accepted = " or ".join(f'"{name}"' for name in FLOWN_KINDS)
        yield Problem("mothership.kind", f'"{study.mothership.kind}", not followed by this version', accepted)
    for k, row in enumerate(study.science.rows):
        if row.where.kind not in COMPUTED:
            found = f'"{row.where.kind}", not computed by this version'
            known = ", ".join(f'"{name}"' for name in COMPUTED)
            yield Problem(f"science.rows[{k}].where.kind", found, known)
