"""A study in a few lines: what it asks about, so that a slip is seen before anything runs."""

from __future__ import annotations

from swarm.study.fields import FROM_MEMORY
from swarm.study.shown import study_rows
from swarm.study.whole_study import Study
from targets.base.timescale import iso_tdb


def glance(study: Study) -> list[tuple[str, str]]:
    """Return (label, sentence) of what a study asks about; odd units are told by `study_notes`."""
    return [
        ("study", study.study.name),
        ("bodies", _bodies(study)),
        ("path", _path(study)),
        ("dates", _dates(study)),
        *_probes(study),
        ("science", _science(study)),
        ("choice", f"by the rule {study.compare.rule}; probe counts compared: {_counts(study)}"),
        ("values", _values(study)),
    ]


def _bodies(study: Study) -> str:
    catalogue = study.catalogue
    if catalogue.format == "invented":
        return f"{catalogue.bodies} invented bodies, seed {catalogue.seed}"
    return f"those of {catalogue.file}, format {catalogue.format}"


def _path(study: Study) -> str:
    ship = study.mothership
    if ship.kind == "legs":
        return "legs, " + ", ".join(f"{leg.body} {iso_tdb(leg.date)[:10]}" for leg in ship.legs)
    if ship.kind == "elements" and ship.a_au is not None and ship.e is not None:
        near, far = ship.a_au * (1.0 - ship.e), ship.a_au * (1.0 + ship.e)
        return f"elements, {near:.3g} to {far:.3g} au from the Sun, inclined {ship.i_deg:g} deg"
    if ship.center is not None and ship.a_km is not None and ship.e is not None:
        near, far = ship.a_km * (1.0 - ship.e), ship.a_km * (1.0 + ship.e)
        return f"elements, stays at {ship.center}, {near:.6g} to {far:.6g} km from its centre"
    spk = f", body {ship.spk_id}" if ship.kind == "spk" else ""
    return f"{ship.kind}, from {ship.file}{spk}"


def _dates(study: Study) -> str:
    first, last = study.study.start, study.study.end
    days = last - first
    long = f"{days / 365.25:.1f} years" if days > 400.0 else f"{days:.0f} days"
    return f"{iso_tdb(first)[:10]} to {iso_tdb(last)[:10]} TDB, {long}"


def _probes(study: Study) -> list[tuple[str, str]]:
    return [
        (
            "probes" if not study.designs else f"probes {name}",
            f"{own.probe.count} of {own.probe.wet_mass_kg:g} kg, burn up to {own.probe.burn_limit_m_s:g} m/s",
        )
        for name, own in study.by_design.items()
    ]


def _science(study: Study) -> str:
    rows = study.science.rows
    least = sum(row.threshold > 0 for row in rows)
    how_many = f"{len(rows)} row{'' if len(rows) == 1 else 's'}"
    if not least:
        return f"{how_many}, none with a threshold: the risk is 0 whatever comes back"
    return f"{how_many}, {least} with a threshold; risk is the chance of missing any"


def _counts(study: Study) -> str:
    return ", ".join(map(str, study.compare.counts)) or "none"


def _values(study: Study) -> str:
    sources = [source for _, _, _, source in study_rows(study)]
    given = sources.count("study file")
    unsure = sum(FROM_MEMORY in source for source in sources)
    return (
        f"{given} given, {len(sources) - given} by default, {unsure} of these from memory; each with unit and source: "
        "--all"
    )
