"""Companions, spin, families and chances of a class; what is unknown never satisfies; what rests on assumptions."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from swarm.study.schema import CatalogueSettings
from targets.base.errors import InputError
from targets.catalogue.bodies import ASSUMED_H, ASSUMED_U, Catalogue, object_column
from targets.catalogue.reading import read_catalogue
from targets.catalogue.worth import body_matches, class_chances, rests_on, taxonomy_chances, why_not
from tests.helpers.small_cases import make_study, make_targets


def described() -> Catalogue:
    """Three bodies: a fast single, a slow double, one of which nothing is known."""
    return replace(
        make_targets(["C", "S", ""]),
        binary=np.array([0, 1, -1], dtype=np.int8),
        spin_period_h=np.array([2.1, 30.0, np.nan]),
        family=object_column(["Vesta", "Koronis", ""]),
    )


@pytest.mark.parametrize(
    ("where", "matches"),
    [
        ({"binary": True}, [False, True, False]),
        ({"binary": False}, [True, False, False]),
        ({"spin_period_h_max": 2.2}, [True, False, False]),
        ({"spin_period_h_min": 2.2}, [False, True, False]),
        ({"spin_period_h_min": 0.0}, [True, True, False]),
        ({"family": ["Vesta", "Eos"]}, [True, False, False]),
        ({"binary": None, "family": None}, [True, True, True]),
    ],
)
def test_what_is_unknown_never_satisfies(where: dict, matches: list[bool]) -> None:
    assert body_matches(described(), where).tolist() == matches
    assert body_matches(described(), SimpleNamespace(**where)).tolist() == matches
    unknown = [not any(value is not None for value in where.values())] * 3
    assert body_matches(make_targets(["C", "S", ""]), where).tolist() == unknown


def test_a_least_chance_of_the_class_bars_but_never_raises() -> None:
    bodies = make_targets(["C", "S", ""])
    chance = float(taxonomy_chances(bodies, ["C"])[2])
    assert 0.1 < chance < 0.9
    for least, matches in (
        (0.05, [True, False, True]),
        (chance, [True, False, True]),
        (0.95, [True, False, False]),
    ):
        where = {"taxonomy": ["C"], "taxonomy_chance_min": least}
        assert body_matches(bodies, where).tolist() == matches
    with pytest.raises(InputError, match=r"where\.taxonomy beside it"):
        make_study([{"name": "a", "where": {"taxonomy_chance_min": 0.5}}])


def test_why_a_body_does_not_fit_is_said_with_what_it_is_like() -> None:
    where = {"spin_period_h_max": 2.0, "binary": True, "family": ["Eos"], "visited": True, "u_max": 9}
    assert set(why_not(described().take([0]), where)) == {
        "spin_period_h_max = 2.0, the body: 2.1",
        "visited = True, the body: false",
        "binary = True, the body: false",
        "family = ['Eos'], the body: Vesta",
    }
    unknown = " ".join(why_not(described().take([2]), where))
    assert "spin_period_h_max = 2.0, the body: unknown" in unknown
    assert "the body: none known" in unknown
    graded = why_not(make_targets(["S"]), {"taxonomy": ["C"], "taxonomy_chance_min": 0.5})
    assert graded == ["taxonomy_chance_min = 0.5, the body: 0"]
    assert why_not(make_targets(["S"]), {"taxonomy": ["C"]}) == []  # a class is a chance, not a bar


def test_a_table_keeps_what_is_known_and_what_is_not() -> None:
    again = Catalogue.from_table(described().to_table())
    assert again.binary.tolist() == [0, 1, -1]
    assert again.family.tolist() == ["Vesta", "Koronis", ""]
    assert np.isnan(again.spin_period_h).tolist() == [False, False, True]
    assert described().take([1]).binary.tolist() == [1]
    plain = make_targets(["C"])
    assert Catalogue.from_table(plain.to_table()).binary is None
    assert "binary" not in plain.to_table().column_names


def test_the_own_format_reads_them(tmp_path: Path) -> None:
    (tmp_path / "bodies.csv").write_text(
        "target,epoch_jd_tdb,a_au,e,i_deg,node_deg,argp_deg,mean_anomaly_deg,binary,spin_period_h,family\n"
        "1,2461000.5,2.5,0.1,3,10,20,30,yes,5.3,Vesta\n"
        "2,2461000.5,2.5,0.1,3,10,20,30,no,-1,\n"
        "3,2461000.5,2.5,0.1,3,10,20,30,,,Eos\n",
        encoding="utf-8",
    )
    settings = CatalogueSettings(format="own", file="bodies.csv")
    bodies = read_catalogue(settings, tmp_path).catalogue
    assert bodies.binary.tolist() == [1, 0, -1]
    assert bodies.family.tolist() == ["Vesta", "", "Eos"]
    assert np.nan_to_num(bodies.spin_period_h, nan=-9.0).tolist() == [5.3, -9.0, -9.0]


# --- what rests on assumptions --------------------------------------------------------------------------------


def claims(bodies: Catalogue, where: dict, quality_min: float = 0.0) -> list[str]:
    return [
        kind for kind, flags in rests_on(bodies, where, quality_min).items() if flags[0] and kind != "any"
    ]


def test_a_claim_rests_on_what_it_uses_and_is_not_known() -> None:
    known = make_targets(["C"])
    bare = replace(
        make_targets([""]),
        diameter_km=np.array([np.nan]),
        assumed=np.array([ASSUMED_H | ASSUMED_U], dtype=np.uint16),
    )
    for where in ({"taxonomy": ["C"], "diameter_km_min": 1.0}, {"h_mag_max": 20.0, "u_max": 5}):
        assert claims(known, where, 0.5) == []
    assert claims(bare, {}) == []
    assert claims(bare, {"taxonomy": ["C"]}) == ["taxonomy"]
    assert claims(bare, {"diameter_km_min": 1.0}) == ["albedo", "h_mag"]
    assert claims(bare, {"u_max": 9}) == ["u_code"]
    assert claims(bare, {}, 0.2) == ["albedo", "h_mag", "u_code"]
    assert rests_on(bare, {}, 0.2)["any"].tolist() == [True]


def test_an_unknown_class_is_spread_and_never_the_best_case() -> None:
    labels, chances = class_chances(make_targets([""]))
    assert chances.sum() == pytest.approx(1.0)
    assert chances.max() < 0.9
    assert len(labels) == chances.shape[1]
