"""The help of `swarm check` shows legs as the study file wants them; whoever reads help may stop reading."""

import os
import subprocess
import sys
import tomllib

from swarm.study.whole_study import Study
from tests.helpers.command_line import TINY, call
from tests.helpers.places import ROOT


def test_the_legs_of_the_help_are_legs_of_a_study():
    shown = call("check", "--help").stdout
    begin, end = shown.index("[mothership]"), shown.index("╭")
    legs = tomllib.loads("\n".join(line.strip() for line in shown[begin:end].splitlines()))
    assert [leg["body"] for leg in legs["mothership"]["legs"]] == ["Earth", "Mars"]
    study = Study.model_validate(tomllib.loads(TINY) | legs)
    assert study.mothership.kind == "legs"


def test_a_reader_who_stops_reading_ends_it_without_a_word():
    """As with `| head`: nobody reads from the pipe when it is written to."""
    read, write = os.pipe()
    os.close(read)
    command = [sys.executable, "-m", "swarm.app.cli", "help", "study"]
    ended = subprocess.run(command, stdout=write, stderr=subprocess.PIPE, check=False, cwd=ROOT)
    os.close(write)
    assert (ended.returncode, ended.stderr) == (1, b"")
