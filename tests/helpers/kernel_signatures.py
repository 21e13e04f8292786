"""Writes swarm/run/signatures.jsonl: what the stages ask of compiled code, from runs of small studies of every kind.

    python -m tests.helpers.kernel_signatures

To be run twice with one NUMBA_CACHE_DIR: what a kernel calls shows as asked for where it is compiled, not where it is
read from the cache.
"""

import contextlib
import json
import sys
import tempfile
from pathlib import Path

from numba import types
from numba.core.registry import CPUDispatcher

from swarm.run.warm import SIGNATURES


class NotWritten(Exception):
    """Of an argument that the file has no form for: such a kernel is compiled when it is first used."""


def written(kind):
    """A numba type as `swarm.run.warm` reads it."""
    if isinstance(kind, types.Array):
        if (kind.layout, kind.aligned) != ("C", True):
            raise NotWritten(kind)
        return {"array": [str(kind.dtype), kind.ndim, *([] if kind.mutable else ["read-only"])]}
    if isinstance(kind, types.BaseTuple):
        parts = [written(part) for part in kind.types]
        if isinstance(kind, types.BaseNamedTuple):
            cls = kind.instance_class
            return {"named": f"{cls.__module__}:{cls.__qualname__}", "of": parts}
        return {"tuple": parts}
    return str(kind)


def asked_for():
    """(kernel, argument types) of every kernel of ours that was asked for in this process."""
    for name, module in sorted(sys.modules.items()):
        if name.split(".")[0] not in ("swarm", "targets"):
            continue
        for key, kernel in sorted(vars(module).items()):
            if isinstance(kernel, CPUDispatcher) and (kernel.__module__, kernel.__name__) == (name, key):
                for signature in kernel.signatures:
                    with contextlib.suppress(NotWritten):
                        yield f"{name}:{key}", [written(kind) for kind in signature]


def main():
    from swarm.app.pipeline import Options, run_all
    from tests.helpers import ledum, yarrow_in_small
    from tests.helpers.command_line import TINY

    with tempfile.TemporaryDirectory() as folder:
        flybys = TINY + "\n[compare]\ncounts = [0, 2, 4]\n[sensitivity]\n"
        for name, text in (("flybys", flybys), ("entries", ledum.small(bodies="20_000", slot_days="40.0"))):
            study = Path(folder, f"{name}.toml")
            study.write_text(text, encoding="utf-8")
            run_all(study, Path(folder, name), Options(workers=1))
        yarrow_in_small.run(Path(folder, "orbits"))
    lines = [json.dumps({"kernel": kernel, "of": kinds}) for kernel, kinds in asked_for()]
    SIGNATURES.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
