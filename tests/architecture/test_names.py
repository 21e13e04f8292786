"""One name, one thing: no two public types and no two files are called the same."""

import re
from collections import defaultdict

from tests.helpers.places import ROOT

# Files of these folders are called after what they declare or run: a section of the study, a stage.
CALLED_AFTER = {"sections", "stages", "tables"}


def sources():
    return [path for room in ("swarm", "targets") for path in (ROOT / room).rglob("*.py")]


def test_no_two_files_of_one_name():
    named = defaultdict(list)
    for path in sources():
        if path.name != "__init__.py" and path.parent.name not in CALLED_AFTER:
            named[path.name].append(str(path.relative_to(ROOT)))
    assert {name: paths for name, paths in named.items() if len(paths) > 1} == {}


def test_no_two_public_types_of_one_name():
    named = defaultdict(list)
    for path in sources():
        for name in re.findall(r"^class ([A-Z]\w*)", path.read_text(encoding="utf-8"), re.M):
            named[name].append(str(path.relative_to(ROOT)))
    assert {name: paths for name, paths in named.items() if len(paths) > 1} == {}
