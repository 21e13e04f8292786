"""What a stage is said to read of the study: all it hangs on, and together every key there is."""

import tomllib

import pytest
import tomli_w

from swarm.app.batch import set_key
from swarm.app.pipeline import Options, run_all
from swarm.app.stages import STAGES
from swarm.app.stages.reads import READS, is_read, values_of
from swarm.run.tables import made_by
from swarm.study.schema import read_study, study_from
from targets.base.errors import InputError
from tests.helpers.command_line import TINY

# What only the page and the package show; what a class says is in the keys it says it of.
SHOWN_ONLY = {"study.name", "probe.class"}
CHAIN = ("screen", "judge", "optimize")


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """A run of the tiny study up to its front."""
    folder = tmp_path_factory.mktemp("plain")
    (folder / "study.toml").write_text(TINY, encoding="utf-8")
    return run_all(folder / "study.toml", folder / "out", Options(workers=1), until="front")


def other(value):
    """Another value of the same kind; None where none suggests itself."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    if isinstance(value, float):
        return value * 1.01
    return None


def with_all_others(text, reads):
    """The study with every key changed that is not among `reads` and can be changed alone, and these keys."""
    data, changed = tomllib.loads(text), []
    for key, value in values_of(study_from(data)).items():
        if is_read(key, reads):
            continue
        rows = isinstance(value, list) and key.startswith("science.rows.")
        for k, one in enumerate(value if rows else [value]):
            place = key.replace("rows.", f"rows[{k}].", 1) if rows else key
            trial = tomllib.loads(tomli_w.dumps(data))
            if other(one) is None:
                continue
            set_key(trial, place, other(one), file="study", place=place)
            try:
                study_from(trial)
            except InputError:
                continue
            data = trial
            changed.append(place)
    return tomli_w.dumps(data), changed


@pytest.mark.parametrize(("stage", "least"), [("screen", 120), ("judge", 50), ("optimize", 8)])
def test_what_is_not_read_changes_nothing(plain, tmp_path, stage, least):
    """Every key at once that neither the stage nor those before it are said to read: the same bytes."""
    chain = CHAIN[: CHAIN.index(stage) + 1]
    keys = values_of(plain.study)
    read = [key for key in keys if any(is_read(key, READS[name]) for name in chain)]
    text, changed = with_all_others(TINY, read)
    assert len(changed) >= least, changed
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    again = run_all(tmp_path / "study.toml", tmp_path / "out", Options(workers=1), until=stage)
    for name in (made.file for each in chain for made in made_by(each) if not (made.widens or made.beside)):
        new, kept = again.folder / name, plain.folder / name
        # what belongs to a kind of encounter is there only where there are any
        assert new.exists() == kept.exists(), name
        assert not kept.exists() or new.read_bytes() == kept.read_bytes(), name


def test_every_key_is_read_by_a_stage(tmp_path):
    (tmp_path / "study.toml").write_text(TINY + "\n[sensitivity]\n", encoding="utf-8")
    unread = {
        key
        for key in values_of(read_study(tmp_path / "study.toml"))
        if not any(is_read(key, reads) for reads in READS.values())
    }
    assert unread == SHOWN_ONLY
    assert set(READS) < {stage.name for stage in STAGES}


def test_a_declared_key_is_a_key_of_the_study(tmp_path):
    """A misspelt one would be read by nobody."""
    (tmp_path / "study.toml").write_text(TINY + "\n[sensitivity]\n", encoding="utf-8")
    keys = set(values_of(read_study(tmp_path / "study.toml")))
    for declared in {read.removeprefix("-") for reads in READS.values() for read in reads}:
        assert any(key == declared or key.startswith(f"{declared}.") for key in keys), declared
    assert is_read("science.rows.where.taxonomy", ("science.rows.where",))
    assert not is_read("probe.count", ("probe", "-probe.count"))
    assert not is_read("probe.counts", ("probe.count",))
