"""The help of `swarm check` shows how a mothership of legs is written, as the study file wants it."""

import tomllib

from swarm.study.whole_study import Study
from tests.helpers.command_line import TINY, call


def test_the_legs_of_the_help_are_legs_of_a_study():
    shown = call("check", "--help").stdout
    begin, end = shown.index("[mothership]"), shown.index("╭")
    legs = tomllib.loads("\n".join(line.strip() for line in shown[begin:end].splitlines()))
    assert [leg["body"] for leg in legs["mothership"]["legs"]] == ["Earth", "Mars"]
    study = Study.model_validate(tomllib.loads(TINY) | legs)
    assert study.mothership.kind == "legs"
