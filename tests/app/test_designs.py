"""Two designs from the study file to the package, and one design given explicitly: the tables of [probe]."""

import numpy as np
import pytest

from swarm.app.pipeline import Options, run_all
from swarm.decide.explain import explain_opportunity
from tests.helpers.command_line import TINY

PROBE = """[probe]
count = 4
wet_mass_kg = 12.0
burn_limit_m_s = 1200.0
"""
EXPLICIT = PROBE.replace("[probe]", '[[designs]]\nname = "probe"')
TWO = """[[designs]]
name = "small"
count = 2
wet_mass_kg = 10.0
burn_limit_m_s = 1200.0
[[designs]]
name = "large"
count = 1
wet_mass_kg = 20.0
burn_limit_m_s = 1100.0
checkout_days = 5.0
camera_ifov_urad = 15.0
thrust_n = 2.0
"""


def run(folder, text, until=None):
    folder.mkdir()
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return run_all(folder / "study.toml", folder / "out", Options(workers=1), until=until)


def test_one_design_given_explicitly_gives_the_tables_of_probe(tmp_path):
    """To the byte where no column names designs; the others are the same without that column."""
    assert PROBE in TINY
    plain = run(tmp_path / "plain", TINY, "front")
    named = run(tmp_path / "named", TINY.replace(PROBE, EXPLICIT), "front")
    for name in (
        "targets",
        "mothership",
        "judged",
        "corrections",
        "plans",
        "bound",
        "convergence",
        "arcs",
        "aims",
    ):
        assert (plain.folder / f"{name}.parquet").read_bytes() == (
            named.folder / f"{name}.parquet"
        ).read_bytes(), name
    for name, column in (("opportunities", "design"), ("polished", "design"), ("front", "probes_of_probe")):
        assert named.read_table(name).drop_columns([column]).equals(plain.read_table(name)), name


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    return run(
        tmp_path_factory.mktemp("two") / "run", TINY.replace(PROBE, TWO) + "[compare]\ncounts = [1, 3]\n"
    )


def designs_of(run):
    table = run.read_table("opportunities")
    return dict(zip(table["opportunity"].to_pylist(), table["design"].to_pylist(), strict=True))


def test_rows_of_each_design_are_found_within_its_own_limits(two):
    table = two.read_table("opportunities")
    names, burn = np.array(table["design"].to_pylist()), table["burn_m_s"].to_numpy()
    waited = table["burn_jd_tdb"].to_numpy() - table["release_jd_tdb"].to_numpy()
    for name, limit, checkout in (("small", 1200.0, 3.0), ("large", 1100.0, 5.0)):
        assert (names == name).any()
        assert burn[names == name].max() <= limit
        np.testing.assert_allclose(waited[names == name], checkout, atol=1e-6)


def test_no_plan_flies_more_of_a_design_than_there_are(two):
    design, front, plans = designs_of(two), two.read_table("front"), two.read_table("plans").to_pylist()
    most = {"small": 0, "large": 0}
    for k, row in enumerate(front.to_pylist()):
        flown = [design[member["opportunity"]] for member in plans if member["plan"] == k]
        assert [row["probes_of_small"], row["probes_of_large"]] == [
            flown.count("small"),
            flown.count("large"),
        ]
        most = {name: max(count, flown.count(name)) for name, count in most.items()}
    assert most == {"small": 2, "large": 1}


def test_what_is_refined_has_the_mass_of_its_design(two):
    design, wet = designs_of(two), {"small": 10.0, "large": 20.0}
    refined = two.read_table("refined").to_pylist()
    assert refined
    assert all(row["mass_wet_kg"] == wet[design[row["opportunity"]]] for row in refined)
    assert (two.folder / "handoff" / "README.txt").read_text().count("small: area") == 1


def test_budgets_and_recoil_are_of_the_designs_that_fly(two):
    design, wet = designs_of(two), {"small": 10.0, "large": 20.0}
    for row in two.read_table("recoil").to_pylist():
        lost = row["mothership_before_kg"] - row["mothership_after_kg"]
        assert lost == pytest.approx(wet[design[row["opportunity"]]])
    items = two.read_table("mass_budget")["item"].to_pylist()
    assert "small: probe structure" in items
    assert "large: dispenser" in items


def test_an_explanation_is_of_the_design_that_flies(two):
    design = designs_of(two)
    number = next(number for number, name in design.items() if name == "large")
    lines = {step.title: dict(step.lines) for step in explain_opportunity(two, number)}
    assert lines["10 Propellant"]
    assert (two.folder / "report.html").exists()
