"""The notebooks are executed in their folder by kernels of their own, and what is stored in them is looked at."""

from __future__ import annotations

import base64
import re
import struct

import nbformat
import pytest
from nbclient.exceptions import CellExecutionError

from tests.helpers.execute_notebooks import execute
from tests.helpers.places import NOTEBOOKS

# What must be true after the last cell, so that a notebook whose cells all ran over nothing is noticed.
FACTS = {
    "01_first_look": "run.targets.num_rows > other.targets.num_rows > 3",
    "02_how_many_probes": "counts.science_best.is_monotonic_increasing and counts.science_best.max() > 0.1",
    "03_follow_one_probe": "len(flown) > 1 and flown.miss_km.max() < 0.1 and len(said['files']) >= 5 + 3 * len(flown)",
}
FIGURE_BYTES_MAX = 300_000


def notebook(name):
    return nbformat.read(NOTEBOOKS / f"{name}.ipynb", as_version=4)


def kinds(book):
    """For each code cell, which kinds of output it has."""
    return [[kind(output) for output in cell.outputs] for cell in book.cells if cell.cell_type == "code"]


def kind(output):
    return output.output_type, output.get("name"), sorted(output.get("data", {}))


def test_every_notebook_has_its_facts():
    assert {path.stem for path in NOTEBOOKS.glob("*.ipynb")} == set(FACTS)


@pytest.mark.parametrize("name", FACTS)
def test_every_cell_runs_and_leaves_what_is_stored(name, monkeypatch, tmp_path):
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    stored = notebook(name)
    executed = notebook(name)
    executed.cells.append(nbformat.v4.new_code_cell(FACTS[name]))
    execute(executed)
    assert executed.cells.pop().outputs[0].data["text/plain"] in ("True", "np.True_")
    # the very digits depend on the processor's type; what a cell shows does not
    assert kinds(executed) == kinds(stored)


def test_a_cell_that_fails_is_noticed():
    book = nbformat.v4.new_notebook(
        cells=[nbformat.v4.new_code_cell("import swarm\nswarm.read_study('none.toml')")]
    )
    with pytest.raises(CellExecutionError, match="InputError"):
        execute(book)


@pytest.mark.parametrize("name", FACTS)
def test_what_is_stored_is_whole_small_and_names_no_machine(name):
    book = notebook(name)
    nbformat.validate(book)
    cells = [cell for cell in book.cells if cell.cell_type == "code"]
    assert [cell.execution_count for cell in cells] == list(range(1, len(cells) + 1))
    outputs = [output for cell in cells for output in cell.outputs]
    assert {output.output_type for output in outputs} <= {"stream", "display_data", "execute_result"}
    assert not [output for output in outputs if output.get("name") == "stderr"]
    figures = [output.data["image/png"] for output in outputs if "image/png" in output.get("data", {})]
    assert figures
    for figure in map(base64.b64decode, figures):
        width, height = struct.unpack(">II", figure[16:24])
        assert width > 300
        assert height > 200
        assert len(figure) < FIGURE_BYTES_MAX
    text = (NOTEBOOKS / f"{name}.ipynb").read_text(encoding="utf-8")
    assert not re.search(r"/(root|home|tmp|Users|usr|opt|var)/|[A-Z]:\\\\\\\\|https?://", text)
