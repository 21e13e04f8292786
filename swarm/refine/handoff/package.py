"""The package of a plan: messages, one SPK, tables and a README, read back before success is said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from swarm.reach.mothership.path import legs_of_table
from swarm.refine.correct import NotRefined
from swarm.refine.handoff.listings import listings
from swarm.refine.handoff.oem import date_text, oem_text, one_line
from swarm.refine.handoff.opm import Manoeuvre, opm_text
from swarm.refine.handoff.read_back import read_back
from swarm.refine.handoff.readme import readme_text
from swarm.refine.handoff.spk import MOTHERSHIP_ID, probe_id, target_id, write_spk
from swarm.refine.stretches import Paths, Stretch, field_of, whole_microseconds
from swarm.refine.tables import RefinedProbe
from swarm.run.writing import remove
from swarm.study.schema import Study
from targets.base.errors import InputError
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.reading import Catalogue


@dataclass(frozen=True, eq=False)
class Package:
    """Where the package is, and how far what was read back is from what was integrated.

    unwritten : refined probes that are not in it, since their paths could not be written
    """

    folder: Path
    files: tuple[str, ...]
    unwritten: tuple[NotRefined, ...]
    worst_km: float
    worst_km_s: float


def write_package(
    study: Study,
    targets: Catalogue,
    mothership: pa.Table,
    flown: Sequence[RefinedProbe],
    paths: Paths,
    *,
    lost: Sequence[NotRefined],
    folder: Path,
) -> Package:
    """Write the package into `folder` and read it back. Raises ReadBackDiffers.

    paths : of the probes and their targets; a probe that has none is left out and named
    lost  : probes that could not be refined

    Where no probe has a path, InputError is raised.
    """
    unwritten = paths.unwritten
    written = [each for each in flown if each.made.arc.probe in paths.probes]
    if not written:
        found = "; ".join(f"probe {left.arc.probe}: {left.reason}" for left in unwritten)
        do = "hand over another plan"
        raise InputError("no path of the plan can be written", place="handoff", found=found, do=do)
    clear_package(folder)
    folder.mkdir(parents=True, exist_ok=True)
    write_spk(folder / "plan.bsp", _bodies(written, paths, mothership))
    for each in written:
        _write_messages(study, each, paths.probes[each.made.arc.probe], folder)
    texts = listings(study, targets, written)
    texts["README.txt"] = readme_text(study, targets, written, [*lost, *unwritten])
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    field = field_of([each.made for each in flown])
    worst = read_back(folder, field, written, paths.probes, mothership=legs_of_table(mothership))
    return Package(folder, tuple(sorted(entry.name for entry in folder.iterdir())), tuple(unwritten), *worst)


def _bodies(
    written: Sequence[RefinedProbe], paths: Paths, mothership: pa.Table
) -> dict[int, tuple[str, Sequence[Stretch]]]:
    """Name and stretches by SPK number."""
    names = {each.made.arc.target_index: each.made.arc.target for each in written}
    bodies: dict[int, tuple[str, Sequence[Stretch]]] = {
        probe_id(number): (f"PROBE {number:02d}", parts) for number, parts in paths.probes.items()
    }
    bodies[MOTHERSHIP_ID] = ("MOTHERSHIP", _mothership_stretches(mothership))
    for index, stretch in paths.targets.items():
        bodies[target_id(index)] = (one_line(f"TARGET {names[index]}"), [stretch])
    return bodies


def clear_package(folder: Path) -> None:
    """Take away what an earlier plan or study left there."""
    if folder.is_dir():
        for old in folder.iterdir():
            if old.suffix in (".oem", ".opm", ".bsp", ".csv", ".txt"):
                remove(old)


def _mothership_stretches(mothership: pa.Table) -> list[Stretch]:
    """The mothership's own nodes, unburned: what its path is between them is the path's definition."""
    out = []
    for leg in legs_of_table(mothership):
        # the legs' own way between one-day nodes is not a polynomial: sampled denser, it is one to centimetres
        epochs = np.arange(leg.epochs_tdb_s[0], leg.epochs_tdb_s[-1] + 1.0, leg.step_s / 4.0)
        epochs = whole_microseconds(np.minimum(epochs, leg.epochs_tdb_s[-1]))
        out.append(Stretch(epochs, leg.at(epochs)))
    return out


def _write_messages(study: Study, one: RefinedProbe, stretches: list[Stretch], folder: Path) -> None:
    made, arc, spread = one.made, one.made.arc, one.full
    name = f"PROBE {arc.probe:02d}"
    created = float(tdb_s_from_jd(study.study.date_jd_tdb))
    probe = study.of_design(arc.design).probe
    burn = Manoeuvre(
        arc.burn_tdb_s - made.lead_s, made.burn_s, made.mass_kg[1] - made.mass_kg[0], made.burn_km_s
    )
    stem = f"probe_{arc.probe:02d}"
    common: dict[str, Any] = {
        "creation_tdb_s": created,
        "area_m2": probe.solar_area_m2,
        "reflectivity": probe.reflectivity,
    }
    aim = f"aim point about target {arc.target}: B.T {arc.aim_km[0]:.3f} km, B.R {arc.aim_km[1]:.3f} km"
    at = f"closest approach {date_text(made.encounter_tdb_s)} TDB"
    number = f"SPK number {probe_id(arc.probe)}; no international designator is known"
    comments = (
        number,
        aim,
        at,
        f"computed with an impulse at {date_text(arc.burn_tdb_s)} TDB; it stands for the burn",
    )
    released, burnt = stretches[0], stretches[1]
    texts = {
        f"{stem}_release.opm": opm_text(
            name, (float(released.epochs_tdb_s[0]), released.states[0]), mass_kg=made.mass_kg[0],
            covariance=spread.released_cov, manoeuvre=burn, comments=("state after the spring", *comments), **common,
        ),
        f"{stem}_after_burn.opm": opm_text(
            name, (float(burnt.epochs_tdb_s[0]), burnt.states[0]), mass_kg=made.mass_kg[1],
            covariance=spread.burnt_cov, comments=("state after the burn", number, aim, at), **common,
        ),
        f"{stem}.oem": oem_text(
            name, stretches, creation_tdb_s=created, comments=comments,
            covariance=(made.encounter_tdb_s, spread.encounter_cov),
        ),
    }  # fmt: skip
    for file, text in texts.items():
        (folder / file).write_text(text, encoding="ascii")
