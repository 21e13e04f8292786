"""Orbit ephemeris messages and SPK files for the tests, written by themselves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import spiceypy

from targets.base.timescale import iso_of_tdb_s
from targets.ephemeris.spice import load_kernels

FIREWEED = -731


@dataclass
class Block:
    """A segment to write: TDB epochs, (n, 6) states as they shall stand in the file, metadata to change or add."""

    epochs_tdb_s: np.ndarray
    states: np.ndarray
    meta: dict[str, str | None] = field(default_factory=dict)
    below: str = ""


def date(tdb_s: float, system: str) -> str:
    """The date of an epoch in a time system, by SPICE."""
    load_kernels()
    if system == "UTC":
        return spiceypy.et2utc(tdb_s, "ISOC", 6)
    scale_s = tdb_s if system == "TDB" else spiceypy.unitim(tdb_s, "TDB", "TT")
    return iso_of_tdb_s(scale_s, digits=6).removesuffix(" TDB").replace(" ", "T")


def oem_text(blocks: Sequence[Block], *, system: str = "TDB") -> str:
    lines = ["CCSDS_OEM_VERS = 2.0", "COMMENT written for a test", "CREATION_DATE = 2031-01-01T00:00:00"]
    lines += ["ORIGINATOR = FIREWEED", ""]
    for block in blocks:
        dates = [date(float(t), system) for t in block.epochs_tdb_s]
        meta: dict[str, str | None] = {
            "OBJECT_NAME": "FIREWEED",
            "OBJECT_ID": "2031-001A",
            "CENTER_NAME": "SUN",
            "REF_FRAME": "ICRF",
            "TIME_SYSTEM": system,
            "START_TIME": dates[0],
            "STOP_TIME": dates[-1],
            "INTERPOLATION": "HERMITE",
            "INTERPOLATION_DEGREE": "7",
            **block.meta,
        }
        lines += [
            "META_START",
            *(f"{key} = {value}" for key, value in meta.items() if value is not None),
            "META_STOP",
        ]
        for text, row in zip(dates, block.states, strict=True):
            position = " ".join(f"{x:.9f}" for x in row[:3])
            lines.append(f"{text} {position} " + " ".join(f"{x:.15f}" for x in row[3:]))
        lines += [block.below, ""]
    return "\n".join(lines)


def write_oem(folder: Path, blocks: Sequence[Block], *, system: str = "TDB") -> Path:
    file = folder / "mothership.oem"
    file.write_text(oem_text(blocks, system=system), encoding="ascii")
    return file


def write_spk(
    folder: Path, blocks: Sequence[Block], *, kind: int = 13, center: int = 10, frame: str = "J2000"
) -> Path:
    """An SPK of FIREWEED, a segment for every block, by SPICE's own writers."""
    file = folder / "mothership.bsp"
    handle = spiceypy.spkopn(str(file), "FIREWEED", 0)
    for block in blocks:
        epochs, states = np.ascontiguousarray(block.epochs_tdb_s), np.ascontiguousarray(block.states)
        first, last = float(epochs[0]), float(epochs[-1])
        if kind == 5:
            gm = 132_712_440_041.279419  # DE440
            spiceypy.spkw05(
                handle, FIREWEED, center, frame, first, last, "test", gm, len(epochs), states, epochs
            )
        else:
            writer = {9: spiceypy.spkw09, 13: spiceypy.spkw13}[kind]
            writer(handle, FIREWEED, center, frame, first, last, "test", 7, len(epochs), states, epochs)
    spiceypy.spkcls(handle)
    return file
