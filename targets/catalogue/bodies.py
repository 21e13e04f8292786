"""Catalogue: n bodies as frozen columns with the unit in each name; the one form every other room reads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from numpy.typing import NDArray

from targets.base.constants import AU_KM, GM_SUN_KM3_S2
from targets.base.errors import InputError
from targets.base.frames import ICRF_FROM_ECLIPTIC
from targets.base.timescale import tdb_s_from_jd
from targets.motion.twobody import states_from_elements

Floats = NDArray[np.float64]

# Bits of Catalogue.assumed: the value in that column comes from a rule, not from the source.
ASSUMED_H = 1
ASSUMED_G = 2
ASSUMED_U = 4

SCHEMA = pa.schema(
    [
        pa.field("target", pa.string(), nullable=False),
        pa.field("name", pa.string(), nullable=False),
        pa.field("epoch_jd_tdb", pa.float64(), nullable=False),
        pa.field("a_au", pa.float64(), nullable=False),
        pa.field("e", pa.float64(), nullable=False),
        pa.field("i_deg", pa.float64(), nullable=False),
        pa.field("node_deg", pa.float64(), nullable=False),
        pa.field("argp_deg", pa.float64(), nullable=False),
        pa.field("mean_anomaly_deg", pa.float64(), nullable=False),
        pa.field("h_mag", pa.float64(), nullable=False),
        pa.field("g_slope", pa.float64(), nullable=False),
        pa.field("albedo", pa.float64()),
        pa.field("diameter_km", pa.float64()),
        pa.field("taxonomy", pa.string(), nullable=False),
        pa.field("u_code", pa.int8(), nullable=False),
        pa.field("visited", pa.bool_(), nullable=False),
        pa.field("assumed", pa.uint16(), nullable=False),
    ]
)

# Order of the elements in the uncertainty arrays; units as in the columns' names.
ELEMENT_ORDER = ("a_au", "e", "i_deg", "node_deg", "argp_deg", "mean_anomaly_deg")
# Arrays that a catalogue may do without, each with its shape per body: most sources do not give them.
UNCERTAINTY_SHAPES: dict[str, tuple[int, ...]] = {"element_sigma": (6,), "element_covariance": (6, 6)}
# What a body may be like beyond the columns every catalogue has: kept where the source gives it.
ATTRIBUTES: dict[str, pa.DataType] = {
    "binary": pa.bool_(),
    "spin_period_h": pa.float64(),
    "family": pa.string(),
}
# Marks the targets that are planets or moons (`places.py`): in tables of this tool, never in a file from elsewhere.
PLACE = "place"


@dataclass(frozen=True, eq=False)
class Catalogue:
    """n bodies; every column is an (n,) array. Elements are osculating, heliocentric, ecliptic J2000.

    target           : number without brackets where there is one, else the unpacked principal designation
    name             : '' where there is none
    epoch_jd_tdb     : epoch of the elements of that body
    a_au, e, i_deg, node_deg, argp_deg, mean_anomaly_deg : 0 <= e < 1
    h_mag, g_slope   : IAU 1985 H,G system; by rule where not given (see `assumed`)
    albedo, diameter_km : as given, NaN where unknown
    taxonomy         : as given, '' where unknown
    u_code           : uncertainty parameter 0..9, 9 where not given
    visited          : on the study's list of visited bodies
    assumed          : sum of ASSUMED_H, ASSUMED_G, ASSUMED_U
    element_sigma    : (n, 6) standard deviations of the elements in ELEMENT_ORDER, NaN where not given;
                       None where the source gives none
    element_covariance : (n, 6, 6) their covariance in the same order, at the body's own epoch; likewise
    binary           : 1 has a companion, 0 is known to have none, -1 unknown; None where the source gives none
    spin_period_h    : NaN where unknown; likewise
    family           : name of the dynamical family, '' for none or unknown; likewise
    place            : a planet or moon that a probe passes, which is of no catalogue (`places.py`); None: none is
    """

    target: NDArray[np.object_]
    name: NDArray[np.object_]
    epoch_jd_tdb: Floats
    a_au: Floats
    e: Floats
    i_deg: Floats
    node_deg: Floats
    argp_deg: Floats
    mean_anomaly_deg: Floats
    h_mag: Floats
    g_slope: Floats
    albedo: Floats
    diameter_km: Floats
    taxonomy: NDArray[np.object_]
    u_code: NDArray[np.int8]
    visited: NDArray[np.bool_]
    assumed: NDArray[np.uint16]
    element_sigma: Floats | None = None
    element_covariance: Floats | None = None
    binary: NDArray[np.int8] | None = None
    spin_period_h: Floats | None = None
    family: NDArray[np.object_] | None = None
    place: NDArray[np.bool_] | None = None

    def __post_init__(self) -> None:
        lengths = {name: len(array) for name, array in self._held().items()}
        if len(set(lengths.values())) != 1:
            raise ValueError(f"columns of a catalogue differ in length: {lengths}")
        for name, shape in UNCERTAINTY_SHAPES.items():
            array = getattr(self, name)
            if array is not None and array.shape[1:] != shape:
                raise ValueError(f"{name} of a catalogue has the shape {array.shape}, not (n, *{shape})")

    def _held(self) -> dict[str, NDArray[Any]]:
        """Return the arrays that are there, by name."""
        arrays = {column.name: getattr(self, column.name) for column in fields(self)}
        return {name: array for name, array in arrays.items() if array is not None}

    def __len__(self) -> int:
        return len(self.target)

    def take(self, index: Sequence[int] | NDArray[Any] | slice) -> Catalogue:
        """Return the bodies of `index` (integers in the order wanted, a mask, or a slice)."""
        chosen = index if isinstance(index, slice) else np.asarray(index)
        if not isinstance(chosen, slice) and chosen.size == 0:
            chosen = chosen.astype(np.intp)
        return Catalogue(**{name: array[chosen] for name, array in self._held().items()})

    def states(self) -> tuple[Floats, Floats, Floats]:
        """Return (epoch_tdb_s (n,), r_km (n, 3), v_km_s (n, 3)): heliocentric ICRF, each at its own epoch.

        This is the one rotation from the ecliptic axes of the elements to ICRF.
        """
        angles = (self.i_deg, self.node_deg, self.argp_deg, self.mean_anomaly_deg)
        r_km, v_km_s = states_from_elements(
            self.a_au * AU_KM, self.e, *(np.radians(angle) for angle in angles), mu_km3_s2=GM_SUN_KM3_S2
        )
        return tdb_s_from_jd(self.epoch_jd_tdb), r_km @ ICRF_FROM_ECLIPTIC.T, v_km_s @ ICRF_FROM_ECLIPTIC.T

    def to_table(self) -> pa.Table:
        """Return the columns as an Arrow table of SCHEMA (unknown albedo and diameter are null).

        Uncertainty arrays, where there are any, follow as columns of lists of 6 and 36 numbers (row by row),
        then the ATTRIBUTES there are (unknown is null).
        """
        arrays = [
            pa.array(getattr(self, column.name), type=column.type, from_pandas=column.nullable)
            for column in SCHEMA
        ]
        table = pa.Table.from_arrays(arrays, schema=SCHEMA)
        held = self._held()
        for name, array in held.items():
            if name in UNCERTAINTY_SHAPES:
                table = table.append_column(pa.field(name, pa.list_(pa.float64())), _lists_of(array))
        for name, kind in ATTRIBUTES.items():
            if name in held:
                table = table.append_column(pa.field(name, kind), _attribute_column(held[name], kind))
        return table if self.place is None else table.append_column(PLACE, pa.array(self.place))

    @classmethod
    def from_table(cls, table: pa.Table) -> Catalogue:
        """Return the catalogue kept in `table`; further columns are ignored.

        For tables this tool wrote; a file from elsewhere goes through `read_catalogue`, which
        checks every row.
        """
        lacking = [column for column in SCHEMA.names if column not in table.column_names]
        if lacking:
            raise InputError(
                "not a catalogue table", found=table.column_names, expected=f"also {', '.join(lacking)}"
            )
        columns: dict[str, Any] = {
            column.name: _numpy_of(table[column.name], column.type) for column in SCHEMA
        }
        if PLACE in table.column_names:
            columns[PLACE] = _numpy_of(table[PLACE], pa.bool_())
        return cls(**(columns | uncertainty_of(table) | attributes_of(table)))

    def write_parquet(self, path: Path) -> None:
        """Write the catalogue; the same catalogue gives the same bytes."""
        pq.write_table(self.to_table(), path, compression="zstd", version="2.6", store_schema=False)

    @classmethod
    def read_parquet(cls, path: Path) -> Catalogue:
        """Read what `write_parquet` wrote."""
        try:
            table = pq.read_table(path)
        except FileNotFoundError:
            raise InputError("the file does not exist", file=path) from None
        except (pa.ArrowException, OSError) as error:
            raise InputError("the file is not readable as Parquet", file=path, found=error) from error
        return cls.from_table(table)


@dataclass(frozen=True, eq=False)
class Reading:
    """What was made of a source: every row of it is in `catalogue` or in `rejects`.

    rejects       : Arrow table, columns `line` int64, `reason` str, `text` str
    notes         : one sentence per rule that was applied, with its count
    source_sha256 : of the file's bytes as they lie on disk, or of the description of an invented belt
    visited_sha256: of the list of visited bodies, '' where there is none
    """

    catalogue: Catalogue
    rejects: pa.Table
    notes: tuple[str, ...]
    source_sha256: str
    visited_sha256: str = ""


def uncertainty_of(table: pa.Table) -> dict[str, Floats]:
    """Return the uncertainty arrays kept in `table`, by name; a name that is not there is left out."""
    held = {name: shape for name, shape in UNCERTAINTY_SHAPES.items() if name in table.column_names}
    return {name: _array_of(table[name], name, shape) for name, shape in held.items()}


def attributes_of(table: pa.Table) -> dict[str, NDArray[Any]]:
    """Return the ATTRIBUTES kept in `table`, by name; a name that is not there is left out."""
    held: dict[str, NDArray[Any]] = {}
    for name, kind in ATTRIBUTES.items():
        if name not in table.column_names:
            continue
        values = table[name].cast(kind).to_pylist()
        if name == "binary":
            held[name] = np.array([-1 if value is None else int(value) for value in values], dtype=np.int8)
        elif name == "family":
            held[name] = object_column(["" if value is None else value for value in values])
        else:
            held[name] = np.array([np.nan if value is None else value for value in values], dtype=float)
    return held


def _attribute_column(values: NDArray[Any], kind: pa.DataType) -> pa.Array:
    if pa.types.is_boolean(kind):
        return pa.array([None if value < 0 else bool(value) for value in values], type=kind)
    return pa.array(values, type=kind, from_pandas=pa.types.is_floating(kind))


def _array_of(column: pa.ChunkedArray, name: str, shape: tuple[int, ...]) -> Floats:
    size = math.prod(shape)
    kind = column.type
    lists = pa.types.is_list(kind) or pa.types.is_fixed_size_list(kind) or pa.types.is_large_list(kind)
    if not lists or not pa.types.is_floating(kind.value_type):
        raise InputError(f"{name} is no column of lists", found=kind, expected=f"lists of {size} numbers")
    lengths = set(pc.list_value_length(column).to_pylist())
    if not lengths <= {size}:
        raise InputError(
            f"{name} holds lists of another length", found=lengths, expected=f"lists of {size} numbers"
        )
    flat = pc.list_flatten(column).cast(pa.float64()).fill_null(float("nan"))
    return np.array(flat.to_numpy()).reshape(-1, *shape)


def _lists_of(array: Floats) -> pa.Array:
    size = math.prod(array.shape[1:])
    ends = np.arange(0, array.size + 1, size, dtype=np.int32)
    return pa.ListArray.from_arrays(ends, np.ascontiguousarray(array, dtype=float).ravel())


def _numpy_of(column: pa.ChunkedArray, kind: pa.DataType) -> NDArray[Any]:
    if pa.types.is_string(kind):
        return object_column(column.to_pylist())
    filled = column.cast(kind)
    if pa.types.is_floating(kind):
        filled = filled.fill_null(float("nan"))
    return np.array(filled.to_numpy())  # a copy: Arrow's own memory is read-only


def object_column(texts: Sequence[str]) -> NDArray[np.object_]:
    """Return texts as an (n,) object array (numpy's own text arrays are as wide as the longest entry)."""
    column = np.empty(len(texts), dtype=object)
    column[:] = texts
    return column
