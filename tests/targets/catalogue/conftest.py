"""Small made-up catalogues and the settings that name them."""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from targets.catalogue.invented import invented_belt
from targets.catalogue.reading import Catalogue, Reading, read_catalogue
from tests.helpers.places import AUTHORITIES


@pytest.fixture
def authorities() -> Path:
    return AUTHORITIES


@pytest.fixture
def mpc_row() -> Callable[..., dict[str, Any]]:
    """One object of the extended JSON format (made up); `drop` leaves keys out, keywords replace values."""

    def build(drop: tuple[str, ...] = (), **changes: Any) -> dict[str, Any]:
        row = {
            "Number": "(900001)",
            "Name": "Madeup",
            "Principal_desig": "2090 AA1",
            "Epoch": 2461000.5,
            "a": 2.4,
            "e": 0.1,
            "i": 5.0,
            "Node": 10.0,
            "Peri": 20.0,
            "M": 30.0,
            "H": 17.0,
            "G": 0.15,
            "U": "1",
            "Num_obs": 12,
        } | changes
        return {key: value for key, value in row.items() if key not in drop}

    return build


@pytest.fixture
def read_mpc(tmp_path: Path) -> Callable[..., Reading]:
    """Write a value as JSON (gzip on request, under any name) and read it as a catalogue."""

    def read(content: Any, name: str = "bodies.json", packed: bool = False) -> Reading:
        text = json.dumps(content).encode()
        (tmp_path / name).write_bytes(gzip.compress(text) if packed else text)
        return read_catalogue(SimpleNamespace(format="mpc-json", file=name), tmp_path)

    return read


@pytest.fixture
def read_bytes(tmp_path: Path) -> Callable[..., Reading]:
    """Write bytes as they are and read them as a catalogue of a format."""

    def read(content: bytes, format: str = "own", name: str = "bodies.dat", **settings: Any) -> Reading:
        (tmp_path / name).write_bytes(content)
        return read_catalogue(SimpleNamespace(format=format, file=name, **settings), tmp_path)

    return read


@pytest.fixture
def bodies() -> Callable[..., Catalogue]:
    """Return n like bodies, H 17.75, nothing known but the orbit, with columns replaced by keyword."""

    def build(n: int = 1, **columns: Any) -> Catalogue:
        unknown = {
            "h_mag": np.full(n, 17.75),
            "albedo": np.full(n, np.nan),
            "diameter_km": np.full(n, np.nan),
            "taxonomy": np.full(n, "", dtype=object),
        }
        held = vars(invented_belt(n, 1)) | unknown
        arrays = {
            name: np.array(values, dtype=held[name].dtype) if name in held else values
            for name, values in columns.items()
        }
        return Catalogue(**(held | arrays))

    return build
