"""What users read is plain: no sentence over thirty words, no phrase that only its author understands.

Tables, code and lists of more than plain words are left out: there a reader looks something up.
"""

import re
from importlib.resources import files

import pytest

from swarm.study.reference import study_reference as reference
from tests.helpers.places import ROOT

WORDS_MOST = 30
PAGES = {
    path.name: path for path in files("swarm.app").joinpath("docs").iterdir() if path.name.endswith(".md")
}
TEXTS = {
    "README.md": lambda: (ROOT / "README.md").read_text(encoding="utf-8"),
    "runs/README.md": lambda: (ROOT / "runs" / "README.md").read_text(encoding="utf-8"),
    "help study": reference,
    **{name: path.read_text for name, path in PAGES.items()},
}
# Said so in earlier versions, and not understood by who read it.
PHRASES = r"in full force|\bdearer\b|left as it is|as (?:it was|they were) left|front in lines|for looking at"
# Lists of named choices, each with its meaning in brackets: read entry by entry.
LISTS = ("`knee` (nearest", '`kind = "orbit"`: a probe stops')


def sentences(text):
    text = re.sub(r"```.*?```", "\n\n", text, flags=re.DOTALL)
    for paragraph in re.split(r"\n\s*\n|\n(?=[*|#-] ?)", text):
        if paragraph.lstrip().startswith(("|", "#")):
            continue
        yield from re.split(r"(?<=[.!?:])\s+(?=[A-Z`*\"])", " ".join(paragraph.split()))


def words(sentence):
    return len([word for word in sentence.split() if re.search(r"\w", word)])


@pytest.mark.parametrize("name", TEXTS)
def test_no_sentence_is_longer_than_thirty_words(name):
    found = list(sentences(TEXTS[name]()))
    assert len(found) > 3
    assert [one for one in found if words(one) > WORDS_MOST and not one.startswith(LISTS)] == []


@pytest.mark.parametrize("name", TEXTS)
def test_no_phrase_of_our_own(name):
    assert re.findall(PHRASES, TEXTS[name]()) == []


def test_page_and_messages_have_none_either():
    """Texts in quotation marks of the page's rooms, its templates and what commands print."""
    sources = [
        *(ROOT / "swarm" / "report").rglob("*.py"), *(ROOT / "swarm" / "report" / "templates").iterdir(),
        *(ROOT / "swarm" / "decide").rglob("*.py"), *(ROOT / "swarm" / "app").rglob("*.py"),
    ]  # fmt: skip
    said = []
    for path in sources:
        text = re.sub(r'""".*?"""|#.*', "", path.read_text(encoding="utf-8"))
        said += [(path.name, hit) for hit in re.findall(rf'"[^"\n]*(?:{PHRASES})[^"\n]*"', text)]
    assert said == []


def test_the_reference_shows_nothing_of_the_library_behind_it():
    assert "Undefined" not in reference()
    assert not re.search(r"at (least|most) 1 (letters|entries)", reference())


def test_a_long_sentence_is_seen():
    assert [words(one) for one in sentences("One. W" + "ord word" * 30 + ". Two")] == [1, 31, 1]
