"""Which sources name the folder of compiled kernels: all that a kernel is built from, and no more."""

import ast
import importlib
import sys
from pathlib import Path

from numba.core.registry import CPUDispatcher

from swarm.run.kernel_cache import _imported, kernel_sources
from tests.helpers.places import ROOT


def write(folder: Path, files: dict[str, str]) -> None:
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")


def test_what_a_kernel_imports_counts_and_what_imports_it_does_not(tmp_path: Path) -> None:
    write(
        tmp_path,
        {
            "swarm/kernel.py": "from numba import njit\nfrom targets.constants import AU_KM\n"
            "from swarm.arcs import lambert\n",
            "swarm/arcs/lambert.py": "import swarm.far\n",
            "swarm/far.py": "FAR = 1\n",
            "targets/constants.py": "AU_KM = 1.5e8\n",
            "swarm/cli.py": "from swarm.kernel import go\n",
        },
    )
    found = [str(path.relative_to(tmp_path)) for path in kernel_sources(tmp_path)]
    assert found == ["swarm/arcs/lambert.py", "swarm/far.py", "swarm/kernel.py", "targets/constants.py"]


def test_every_kernel_that_a_kernel_calls_stands_in_one_of_them() -> None:
    sources = set(kernel_sources(ROOT))
    names = [".".join(path.relative_to(ROOT).with_suffix("").parts) for path in sources]
    seen = 0
    for name in names:
        module = importlib.import_module(name)
        for kernel in (value for value in vars(module).values() if isinstance(value, CPUDispatcher)):
            used = [kernel.py_func.__globals__.get(word) for word in kernel.py_func.__code__.co_names]
            for called in (kernel, *(one for one in used if isinstance(one, CPUDispatcher))):
                assert Path(sys.modules[called.py_func.__module__].__file__ or "") in sources
                seen += 1
    assert seen > 100


def test_command_line_page_and_package_are_not_among_them() -> None:
    found = {str(path.relative_to(ROOT)) for path in kernel_sources(ROOT)}
    assert found.isdisjoint(
        {
            "swarm/app/cli.py",
            "swarm/app/pipeline.py",
            "swarm/report/page.py",
            "swarm/refine/handoff/package.py",
        }
    )


def test_imports_are_found_as_python_parses_them() -> None:
    for path in (path for name in ("swarm", "targets") for path in (ROOT / name).rglob("*.py")):
        source = path.read_text(encoding="utf-8")
        names: set[str] = set()
        for node in ast.parse(source).body:
            if isinstance(node, ast.Import):
                names.update(alias.name for alias in node.names)
            elif isinstance(node, ast.ImportFrom) and node.module:
                names.update((node.module, *(f"{node.module}.{alias.name}" for alias in node.names)))
        assert _imported(source) == names, path
