"""Readers and files that nobody wrote: a file is taken within the stated ranges or refused in words, and at once.

A draw of seeds here; `-m slow` runs the many (figures in tests/benchmarks/RESULTS.md). A case is repeated by its seed.
"""

import random
import time

import pytest

from targets.base.errors import InputError
from tests.campaign.mutations import mutated
from tests.campaign.readers import READERS, write_corpus

FEW, MANY = 150, 20_000
# A process each.
FEW_APART, MANY_APART = 4, 300
LONGEST_MESSAGE = 20_000
LONGEST_S = 2.0
LONGEST_APART_S = 10.0  # the process has to start


@pytest.fixture(scope="module")
def corpus(tmp_path_factory):
    folder = tmp_path_factory.mktemp("corpus")
    write_corpus(folder)
    return folder


@pytest.mark.parametrize("name", READERS)
def test_the_file_itself_is_taken(corpus, name):
    READERS[name].read(corpus / READERS[name].file)


@pytest.mark.parametrize("name", READERS)
def test_a_draw_of_changed_files(corpus, name, record_property):
    attack(corpus, name, seeds=range(FEW_APART if name == "spk" else FEW), record=record_property)


@pytest.mark.slow
@pytest.mark.parametrize("name", READERS)
def test_many_changed_files(corpus, name, record_property):
    attack(
        corpus,
        name,
        seeds=range(1_000_000, 1_000_000 + (MANY_APART if name == "spk" else MANY)),
        record=record_property,
    )


def attack(corpus, name, *, seeds, record):
    reader = READERS[name]
    good = (corpus / reader.file).read_bytes()
    path = corpus / f"changed-{reader.file}"
    taken = 0
    for seed in seeds:
        path.write_bytes(mutated(good, random.Random(seed)))
        begun, said = time.monotonic(), ""
        try:
            reader.read(path)
            taken += 1
        except InputError as refused:
            said = str(refused)
        except Exception as problem:
            raise AssertionError(f"{name}, seed {seed}: {problem!r}") from problem
        spent = time.monotonic() - begun
        longest = LONGEST_APART_S if name == "spk" else LONGEST_S
        assert spent < longest, f"{name}, seed {seed}: {spent:.1f} s"
        assert len(said) < LONGEST_MESSAGE, f"{name}, seed {seed}: {said[:200]}"
    record(f"{name} files", len(seeds))
    record(f"{name} taken", taken)
