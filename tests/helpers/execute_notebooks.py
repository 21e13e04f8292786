"""Execute notebooks in their folder; `python -m tests.helpers.execute_notebooks` stores what comes out in them."""

from __future__ import annotations

import os

import nbformat
from nbclient import NotebookClient

from tests.helpers.places import NOTEBOOKS, ROOT


def execute(book: nbformat.NotebookNode) -> nbformat.NotebookNode:
    """Fill in a notebook's outputs, by a kernel that sees this tree and not an installed package; without times."""
    seen = os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))
    # a kernel is a process of its own and claims its own cache of compiled code
    inherited = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    client = NotebookClient(
        book,
        timeout=600,
        kernel_name="python3",
        record_timing=False,
        resources={"metadata": {"path": str(NOTEBOOKS)}},
    )
    return client.execute(env=inherited | {"PYTHONPATH": seen})


def store() -> None:
    """Execute every notebook and keep its outputs, and nothing of the interpreter that made them."""
    for path in sorted(NOTEBOOKS.glob("*.ipynb")):
        book = execute(nbformat.read(path, as_version=4))
        book.metadata = {
            "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
            "language_info": {"name": "python"},
        }
        nbformat.write(book, path)


if __name__ == "__main__":
    store()
