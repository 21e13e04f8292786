"""The stages called from Python: the README's lines as they stand there, and the same bytes as the command line."""

import re
import shutil
import tomllib

import pytest
from typer.testing import CliRunner

import swarm
from swarm.app.cli import app
from swarm.app.surface import study_text
from swarm.decide.headline import _IN_WORDS, headline
from swarm.run.folder import Run
from tests.helpers.places import ROOT, SMALL


def readme_lines():
    page = ROOT / "swarm" / "app" / "docs" / "in-a-script.md"
    [code] = re.findall(r"^```python\n(.*?)^```$", page.read_text(encoding="utf-8"), re.S | re.M)
    return code


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A folder that looks as the top folder does to the README's lines, which were run in it; and what they said."""
    folder = tmp_path_factory.mktemp("readme")
    (folder / "notebooks").mkdir()
    shutil.copy(SMALL, folder / "notebooks")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        names: dict[str, object] = {}
        exec(compile(readme_lines(), "in-a-script.md", "exec"), names)
    return folder, names["run"]


def test_the_readme_shows_it_in_ten_lines():
    assert len([line for line in readme_lines().splitlines() if line]) <= 10


def test_the_lines_of_the_readme_run(place):
    folder, run = place
    assert isinstance(run, swarm.Results)
    assert {"opportunities", "front", "counts", "mass_budget", "refined"} <= set(run.tables())
    assert run.counts["probes"].to_pylist() == [0, 2, 4]
    assert set(run.refined["plan"].to_pylist()) == {run.plan}
    assert (folder / "out" / "small" / "handoff" / "encounters.csv").is_file()
    stages = {name: stage["status"] for name, stage in run.manifest["stages"].items()}
    assert stages == dict.fromkeys(("screen", "judge", "optimize", "compare", "refine", "handoff"), "done")


def test_the_study_of_the_run_is_the_one_that_was_given(place):
    folder, run = place
    asked = swarm.read_study(SMALL, changes={"compare.counts": [0, 2, 4]})
    assert run.study.model_dump() == asked.model_dump()
    kept = (folder / "out" / "small" / "study.toml").read_text(encoding="utf-8")
    assert kept == study_text(asked)
    assert (
        tomllib.loads(kept)["study"]["name"]
        == tomllib.loads(SMALL.read_text(encoding="utf-8"))["study"]["name"]
    )
    # paths in the study start where those of its file do
    assert (folder / "out" / "small" / run.manifest["base"]).resolve() == folder / "notebooks"


def test_the_same_bytes_as_from_the_command_line(place, tmp_path):
    folder, run = place
    study, out = folder / "out" / "small" / "study.toml", tmp_path / "out"
    for arguments in (("screen", study, "--run", out), ("optimize", "--run", out)):
        result = CliRunner().invoke(app, [str(argument) for argument in (*arguments, "--workers", 1)])
        assert result.exit_code == 0, result.stderr
    for name in ("opportunities", "targets", "judged", "front", "plans", "bound"):
        assert (out / f"{name}.parquet").read_bytes() == (run.folder / f"{name}.parquet").read_bytes(), name


def test_a_file_may_stand_for_the_study_and_a_folder_for_the_run(place, tmp_path):
    _, run = place
    again = swarm.screen(str(SMALL), tmp_path / "out", seed=5)
    assert again.opportunities.equals(run.opportunities)
    assert (tmp_path / "out" / "study.toml").read_bytes() == SMALL.read_bytes()
    assert again.study.study.seed == again.manifest["seed"] == 5
    with pytest.raises(swarm.InputError, match="already holds results"):
        swarm.screen(SMALL, tmp_path / "out")
    resumed = swarm.screen(SMALL, tmp_path / "out", seed=5, resume=True)
    assert resumed == again


def test_what_is_not_feasible_is_an_error_of_its_own(tmp_path):
    study = swarm.read_study(SMALL, changes={"probe.burn_limit_m_s": 0.01, "catalogue.bodies": 500})
    with pytest.raises(swarm.NothingFeasible):
        swarm.screen(study, tmp_path / "out")


def form_of(line):
    """A line of the answer without what differs from run to run: numbers, dates, names of bodies, keys, paths."""
    for what, there in (
        (r"\S+/report\.html|not made yet", "PAGE"),
        (r"--run \S+?(?=,| |$)", "--run DIR"),
        (r"INV-\d+(, INV-\d+)*( and \d+ more)?", "BODIES"),
        (r"\d{4}-\d\d-\d\d", "DATE"),
        (r"[a-z]+\.[a-z0-9_]+ = ", "KEY = "),
        ("|".join(said for _, said in _IN_WORDS) + "|more often than not", "HOW OFTEN"),
        (r"-?\d[\d ]*(\.\d+)?(e[-+]\d+)?", "N "),
        (r"N +(?!%|to |of |opp|bodies|prob|kg|plans|default)(\S+)(?=, a default| would)", "N UNIT"),
        ("; none meets the rule.*", ""),  # of a run of few plans
        (r" +", " "),
    ):
        line = re.sub(what, there, line)
    return line.strip()


def test_the_readme_s_answer_has_the_form_of_what_is_printed_now(place):
    """Line by line, of a small run: what differs are numbers and names."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = re.search(r"```text\n(in reach .*?)```", readme, re.DOTALL).group(1).splitlines()
    printed = headline(Run.open(place[0] / "out" / "small"))
    assert len(shown) == len(printed) == 8
    for line, (label, said) in zip(shown, printed, strict=True):
        assert line.split("  ")[0] == label
        assert form_of(line.removeprefix(label)) == form_of(said)


@pytest.mark.parametrize("said", ["7 of 12 probes fly", "12 of 12 probes", "page: out/x/report.html"])
def test_another_wording_is_seen(said):
    assert form_of("plan 5 of 9 worth comparing flies 7 of 12 probes") != form_of(said)
