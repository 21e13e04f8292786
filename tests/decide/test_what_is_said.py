"""What an answer must not leave unsaid: a likely failure, what is carried, bought science, another plan."""

import pyarrow as pa
import pytest

from swarm.decide.counts import count_lines
from swarm.decide.sensitivity import NOTHING, tornado_lines
from swarm.decide.summary import level_lines, select_plan
from tests.helpers.small_cases import make_study

# Scaled losses: plan 1 is the nearest to the ideal corner, and fails in six of ten cases.
FRONT = pa.table(
    {
        "plan": [0, 1, 2],
        "probes": [0, 2, 4],
        "science": [0.0, 0.5, 0.6],
        "propellant_kg": [0.0, 0.2, 2.0],
        "risk": [1.0, 0.6, 0.3],
    }
)


def study_of(**compare):
    return make_study(compare=compare)


def test_a_plan_that_fails_more_likely_than_not_is_not_chosen_while_another_does_better():
    assert select_plan(FRONT, study_of(chance_least=0.0)) == (1, True)
    assert select_plan(FRONT, study_of()) == (2, True)
    assert select_plan(FRONT, study_of(rule="most-science")) == (2, True)


def test_where_none_does_the_least_risk_is_taken_and_the_rule_was_not_met():
    assert select_plan(FRONT, study_of(chance_least=0.9)) == (2, False)


def test_the_first_line_says_that_a_plan_fails_more_likely_than_not():
    measured = FRONT
    for name, values in (
        ("p_threshold", [0.0, 0.4, 0.7]),
        ("p_baseline", [0.0] * 3),
        ("p_none", [1.0, 0.1, 0.0]),
        ("cvar10_science", [0.0] * 3),
        ("measures_exact", [True] * 3),
        ("science_assumed", [0.0] * 3),
    ):
        measured = measured.append_column(name, pa.array(values))
    assert "it fails more likely than not" in level_lines(measured, 1)[0]
    assert "it fails" not in level_lines(measured, 2)[0]


@pytest.mark.parametrize(("seeds", "spread"), [(2, False), (3, True)])
def test_counts_say_carried_and_flown_and_a_spread_only_of_three_seeds(seeds, spread):
    row = {
        "probes": [12], "probes_flown": [9], "science": [0.57], "propellant_kg": [2.88], "risk": [0.14],
        "swarm_mass_kg": [162.0], "swarm_mass_with_margins_kg": [211.0], "tracking_hours": [2406.0],
        "one_more_science": [0.021], "next_probe_science": [0.043], "next_probe_science_sd": [0.001],
        "rule_met": [True],
    }  # fmt: skip
    [line] = count_lines(pa.table(row), make_study(compare={"seeds": seeds}))
    # 12 probes of 12 kg with dispensers of 6 kg each
    assert line.strip().startswith("12 carried (216 kg), 9 flown")
    assert "each probe adds 0.043 on average" in line
    assert "one more would add 0.021 at least" in line
    assert ("standard deviation of 3 seeds" in line) == spread


def test_bought_science_is_said_with_its_propellant_and_another_plan_is_called_one():
    def row(factor, side, setting, science, kilograms, kept):
        return {
            "factor": factor, "side": side, "setting": setting, "science": science, "propellant_kg": kilograms,
            "risk": 0.1, "science_held": 0.5, "risk_held": 0.1, "science_change": science - 0.5, "risk_change": 0.0,
            "targets_retained": kept, "rank_correlation": None,
        }  # fmt: skip

    table = pa.Table.from_pylist(
        [
            row(NOTHING, "out", "as the study says", 0.5, 2.882, 1.0),
            row("burn limit", "high", "180 m/s", 0.584, 3.682, 1.0),
            row("mothership schedule", "low", "30 d earlier", 0.6, 2.87, 0.0),
        ]
    )
    said = "\n".join(tornado_lines(table))
    assert "180 m/s: +0.084, risk +0.000, flying 3.682 kg for 2.882" in said
    assert "30 d earlier: +0.100, risk +0.000 (another plan: none of its targets is kept)" in said
