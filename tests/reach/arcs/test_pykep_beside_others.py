"""The compiled cores of pykep, pygmo, heyoka and Dask workers live in one process, which must exit cleanly."""

from __future__ import annotations

import itertools
import subprocess
import sys

import pytest

IMPORTS = {
    "pykep": "from swarm.reach.arcs.pykep_core import lambert_branches\n"
    "import numpy as np\n"
    "assert len(lambert_branches(np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), 1.0, mu_km3_s2=1.0,"
    " clockwise=False, revolutions_max=0)[0]) == 1\n",
    "pygmo": "import pygmo\npygmo.population(pygmo.problem(pygmo.zdt(1)), size=8)\n",
    "heyoka": "import heyoka\nx, v = heyoka.make_vars('x', 'v')\n"
    "heyoka.taylor_adaptive([(x, v), (v, -x)], [1.0, 0.0]).propagate_until(1.0)\n",
}
DASK = """
import numba
from distributed import Client, LocalCluster
if __name__ == "__main__":
    with LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address="127.0.0.1:0", host="127.0.0.1") as cluster:
        with Client(cluster) as client:
            assert client.submit(abs, -3, pure=False).result() == 3
    print("all alive")
"""


@pytest.mark.parametrize("order", list(itertools.permutations(IMPORTS))[::2], ids="-".join)
def test_process_exits_cleanly_in_any_order(order: tuple[str, ...], tmp_path) -> None:
    script = tmp_path / "together.py"
    script.write_text("".join(IMPORTS[name] for name in order) + DASK)
    done = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert "all alive" in done.stdout


def test_print_options_of_numpy_are_left_alone() -> None:
    code = "import numpy as np, swarm.reach.arcs.pykep_core; print(np.get_printoptions()['legacy'])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.stdout.strip() == "False"
