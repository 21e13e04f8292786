"""Every reader with a small file it takes, and what must hold of whatever it takes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

from swarm.app.batch import read_variations
from swarm.reach.mothership.from_oem import read_oem
from swarm.study.schema import read_study
from targets.catalogue.invented import invented_belt
from targets.catalogue.readers.own import write_csv
from targets.catalogue.reading import read_catalogue
from targets.ephemeris.spk_reader import spk_body_apart
from tests.helpers.command_line import TINY
from tests.helpers.mothership_files import FIREWEED, Block, write_oem, write_spk
from tests.helpers.places import AUTHORITIES
from tests.helpers.quiet_motherships import END_TDB_S, START_TDB_S, daily, orbit

VARIATIONS = (
    'base = "study.toml"\n[[variations]]\nname = "weaker"\nchanges = { "probe.burn_limit_m_s" = 100.0 }\n'
)
MPC = (
    '[{"Number": "(900001)", "Name": "Madeup", "Principal_desig": "2090 AA1", "Epoch": 2461000.5, "a": 2.4, "e": 0.1, '
    '"i": 5.0, "Node": 10.0, "Peri": 20.0, "M": 30.0, "H": 17.0, "G": 0.15, "U": "1"}, '
    '{"Principal_desig": "2090 AA2", "Epoch": 2461000.5, "a": 2.9, "e": 0.3, "i": 15.0, "Node": 11.0, "Peri": 21.0, '
    '"M": 31.0}]'
)


@dataclass(frozen=True)
class Reader:
    """name: of the reader; file: what is changed; read: reads the file and checks what it took."""

    file: str
    read: Callable[[Path], Any]


def _catalogue(path: Path, *, format: str) -> None:
    bodies = read_catalogue(SimpleNamespace(format=format, file=path.name), path.parent).catalogue
    _require_stated_ranges(bodies)


def _visited(path: Path) -> None:
    reading = read_catalogue(SimpleNamespace(format="own", file="belt.csv", visited=path.name), path.parent)
    assert max(map(len, reading.notes)) < 2000


def _require_stated_ranges(bodies: Any) -> None:
    for name, low, high in (
        ("epoch_jd_tdb", 2_287_184.4, 2_688_976.6), ("a_au", 0.0, 1e5), ("e", 0.0, 1.0), ("i_deg", 0.0, 180.0),
        ("node_deg", -360.0, 360.0), ("argp_deg", -360.0, 360.0), ("mean_anomaly_deg", -360.0, 360.0),
        ("h_mag", -5.0, 40.0), ("g_slope", -0.5, 1.0), ("u_code", 0, 9),
    ):  # fmt: skip
        values = getattr(bodies, name)
        assert np.isfinite(values).all(), name
        assert (values >= low).all(), name
        assert (values <= high).all(), name
    for texts in (bodies.target, bodies.name, bodies.taxonomy):
        assert all(len(text) <= 100 and text.isprintable() for text in texts)


def _oem(path: Path) -> None:
    message = read_oem(path)
    for segment in message.segments:
        assert np.isfinite(segment.states).all()
        assert np.linalg.norm(segment.states[:, :3], axis=1).max() <= 100 * 1.5e8


def _spk(path: Path) -> None:
    with spk_body_apart(path, FIREWEED) as body:
        for piece in body.pieces:
            body.states(np.linspace(*piece, 50), piece)


READERS: dict[str, Reader] = {
    "own-csv": Reader("belt.csv", partial(_catalogue, format="own")),
    "own-parquet": Reader("belt.parquet", partial(_catalogue, format="own")),
    "mpc-json": Reader("bodies.json", partial(_catalogue, format="mpc-json")),
    "mpcorb": Reader("mpcorb_lines.txt", partial(_catalogue, format="mpcorb")),
    "sbdb-csv": Reader("sbdb_query.csv", partial(_catalogue, format="sbdb-csv")),
    "sbdb-json": Reader("sbdb_query.json", partial(_catalogue, format="sbdb-json")),
    "visited": Reader("visited.txt", _visited),
    "oem": Reader("mothership.oem", _oem),
    "spk": Reader("mothership.bsp", _spk),
    "study": Reader("study.toml", read_study),
    "variations": Reader("variations.toml", read_variations),
}


def write_corpus(folder: Path) -> None:
    """One good file for each reader."""
    belt = invented_belt(20, 1)
    write_csv(belt, folder / "belt.csv")
    belt.write_parquet(folder / "belt.parquet")
    (folder / "visited.txt").write_text("# seen\n" + "\n".join(belt.target[:3]) + "\nunknown\n")
    (folder / "bodies.json").write_text(MPC)
    for name in ("mpcorb_lines.txt", "sbdb_query.csv", "sbdb_query.json"):
        (folder / name).write_bytes((AUTHORITIES / name).read_bytes())
    epochs = daily(START_TDB_S, END_TDB_S, 16.0)
    write_oem(folder, [Block(epochs, orbit(epochs))])
    write_spk(folder, [Block(epochs, orbit(epochs))])
    (folder / "study.toml").write_text(TINY)
    (folder / "variations.toml").write_text(VARIATIONS)
