"""Why an opportunity is worth what it is worth: every step, its numbers, and the reason of a hopeless one."""

from __future__ import annotations

import re

import numpy as np
import pytest

from swarm.decide.explain import Step, as_text, explain_opportunity
from swarm.encounter.reasons import OK, REASONS
from swarm.run.folder import Run
from targets.base.errors import InputError
from tests.helpers.explained_run import STUDY
from tests.helpers.written import write_some

STEPS = ("body", "geometry", "aim", "delivery", "quality", "data", "survival", "row", "science", "propellant")


def said(steps: list[Step], title: str) -> dict[str, str]:
    (step,) = [step for step in steps if title in step.title.lower()]
    return dict(step.lines)


def test_every_step_in_order(run) -> None:
    titles = [step.title.lower() for step in explain_opportunity(run, 100)][1:-1]
    assert len(titles) == len(STEPS)
    assert all(word in title for word, title in zip(STEPS, titles, strict=True))


def test_a_chance_is_the_product_that_is_printed(run) -> None:
    """0.407 = hardware 0.610 x data ... : the factors multiply to the chance, for every row of every encounter."""
    checked = 0
    for number in range(100, 105):
        for line in said(explain_opportunity(run, number), "chance for each row").values():
            chance, factors = line.split(" = ", 1) if " x " in line else (None, "")
            if chance is None:
                assert line.startswith("0: it asks")
                continue
            values = [float(text) for text in re.findall(r"(?<!>= )(?<![\d.])\d\.\d{3}", factors)]
            assert len(values) == 4
            assert float(chance) == pytest.approx(np.prod(values), abs=2.5e-3)
            checked += 1
    assert checked >= 6


def test_the_numbers_are_those_of_the_tables(run) -> None:
    judged = run.read_table("judged").to_pylist()[0]
    steps = explain_opportunity(run, 100)
    assert said(steps, "quality")["averaged over the delivery"] == f"{judged['expected_quality']:.3f}"
    assert said(steps, "survival")["P(hardware works)"] == f"{judged['hardware']:.3f}"
    assert said(steps, "propellant")["consumed"] == f"{judged['propellant_kg']:.3f} kg"
    assert f"{judged['aim_km']:.0f} km" in said(steps, "aim")["aim distance"]
    assert f"{judged['dv99_needed_m_s']:.1f} m/s needed" in said(steps, "delivery")["corrections, 99 %"]
    assert f"{judged['data_mbit']:.1f} Mbit" in said(steps, "data")["can be returned"]


def test_the_ledger_adds_up(run) -> None:
    lines = said(explain_opportunity(run, 100), "propellant")
    parts = [float(lines[name].split()[0]) for name in ("main burn", "margin on it", "corrections, 99 %")]
    total = float(lines["in all"].split()[0])
    assert sum(parts) + float(lines["attitude with its margin"].split()[0]) == pytest.approx(total, abs=0.03)


def test_phases_and_groups_of_the_survival_model(run) -> None:
    early, late = (said(explain_opportunity(run, number), "survival") for number in (100, 104))
    phases = [float(early[name]) for name in early if name.startswith("P(") and "hardware" not in name]
    assert float(early["P(hardware works)"]) == pytest.approx(np.prod(phases), abs=2e-3)
    assert "shared with first lot" in early
    assert "shared with first lot" not in late
    assert "shared with all probes" in late


def test_a_small_badly_known_body_is_hopeless_and_a_large_well_known_one_is_not(run) -> None:
    """H = 24, U = 5 against H = 14, U = 0 for the default 6U, all else equal; the text says why."""
    hopeless, good = explain_opportunity(run, 101), explain_opportunity(run, 100)
    chance = [float(said(each, "chance for each row")['"dark"'].split()[0]) for each in (hopeless, good)]
    assert chance[0] < 0.05
    assert chance[1] > 0.4
    assert good[0].lines[0][1] == REASONS[OK]
    assert hopeless[0].lines[0][1] != REASONS[OK]
    assert said(hopeless, "body")["orbit uncertainty U"] == "5"
    before = [said(each, "delivery")["after those from the ground"] for each in (hopeless, good)]
    assert float(before[0].split()[0]) > 100.0 * float(before[1].split()[0])


def test_what_is_assumed_is_marked(run) -> None:
    unknown = explain_opportunity(run, 103)
    assert "unknown; chances" in said(unknown, "body")["class"]
    assert "assumed" in said(unknown, "body")["diameter"]
    assert "rests on assumed taxonomy" in said(unknown, "chance for each row")['"dark"']


def test_a_row_that_is_not_met_says_what_it_asks(run) -> None:
    stony = said(explain_opportunity(run, 102), "chance for each row")['"dark"']
    assert stony.startswith("0.000")
    assert "class 0.000" in stony


def test_an_unknown_number_is_answered_with_the_range(run) -> None:
    with pytest.raises(InputError, match=r"among 100 to 104"):
        explain_opportunity(run, 7)


def test_plain_text_has_a_line_for_every_label(run) -> None:
    steps = explain_opportunity(run, 100)
    lines = as_text(steps)
    assert len(lines) == len(steps) + sum(len(step.lines) for step in steps)
    assert any("not for operations" in line for line in lines)


def test_whether_it_may_be_used_and_how_often_it_is(run) -> None:
    plans = run.read_table("plans").to_pylist()
    front = run.read_table("front").num_rows
    for number in range(100, 105):
        used = len({row["plan"] for row in plans if row["opportunity"] == number})
        lines = dict(explain_opportunity(run, number)[0].lines)
        assert lines["on the front"] == f"in {used} of {front} plans"
        assert lines["may be used"] == "yes"


def test_a_barred_encounter_says_by_which_limit(run, tmp_path) -> None:
    text = STUDY.replace("pairs = true", "pairs = true\nsun_earth_probe_min_deg = 95.0")
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    strict = Run.create(tmp_path / "out", tmp_path / "study.toml")
    for name in ("opportunities", "targets", "judged"):
        write_some(strict, name, run.read_table(name))
    lines = dict(explain_opportunity(strict, 100)[0].lines)
    assert lines["may be used"] == "no: constraints.sun_earth_probe_min_deg at encounter"
    assert "on the front" not in lines
