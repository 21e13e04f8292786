"""Choices that cannot be used end with exit status 2 and name the key."""

import pytest

from tests.helpers.carrier_studies import GRID, written
from tests.helpers.command_line import call

WRONG = {
    "a grid over ten thousand": (
        '[mothership.choices]\ngrid = { "mothership.e" = ['
        + ", ".join(f"0.{k:04d}" for k in range(1, 102))
        + '], "mothership.i_deg" = ['
        + ", ".join(f"{0.1 * k:.1f}" for k in range(100))
        + "] }\n",
        "10100 combinations",
    ),
    "a key of another section": (
        '[mothership.choices]\ngrid = { "probe.count" = [1, 2] }\n',
        "a key below [mothership]",
    ),
    "an empty list": ('[mothership.choices]\ngrid = { "mothership.e" = [] }\n', "at least one value"),
    "no such key": ('[mothership.choices]\ngrid = { "mothership.eccentricity" = [0.1] }\n', "eccentricity"),
    "a budget without specific impulse": (
        '[mothership.retarget]\ndates = ["2031-05-01 TDB"]\nbudget_m_s = 5.0\n',
        "mothership.retarget.isp_s",
    ),
    "a burn outside the study": (
        '[mothership.retarget]\ndates = ["2030-05-01 TDB"]\nbudget_m_s = 5.0\nisp_s = 300.0\n',
        "mothership.retarget.dates[0]",
    ),
    "a return before the burn": (
        '[mothership.retarget]\ndates = ["2031-05-01 TDB"]\nbudget_m_s = 5.0\nisp_s = 300.0\n'
        'return_by = "2031-05-02 TDB"\n',
        "mothership.retarget.return_by",
    ),
    "a file that is not there": (
        '[[mothership.candidates]]\nname = "other"\nfile = "none.oem"\n',
        "none.oem",
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_cannot_be_used_is_refused(name, tmp_path):
    more, said = WRONG[name]
    result = call("carriers", written(tmp_path, more), "--run", tmp_path / "run", "--workers", 1)
    assert result.exit_code == 2, result.stderr
    assert said in result.stderr


def test_swarm_run_names_the_command_that_answers_a_choice(tmp_path):
    result = call("run", written(tmp_path, GRID), "--run", tmp_path / "run")
    assert result.exit_code == 2
    assert "swarm carriers STUDY.toml --run DIR" in result.stderr
    assert not (tmp_path / "run").exists()
