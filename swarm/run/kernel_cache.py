"""Where compiled kernels are kept: one folder per process, since numba's cache is not safe to share.

The folder's name is a hash of the sources kernels are built from: numba itself only looks at the file a kernel stands
in, and would go on using one whose helper in another file has changed.

To be called before any kernel is imported: numba chooses the folder when a function is decorated.
"""

from __future__ import annotations

import ast
import atexit
import contextlib
import fcntl
import hashlib
import os
import pickle
import re
import shutil
import sys
from importlib.metadata import version
from pathlib import Path

from swarm.run.kernel_seal import drop_damaged, seal
from swarm.run.scratch import scratch_folder

CACHE_VARIABLE = "NUMBA_CACHE_DIR"
LOCATORS_VARIABLE = "NUMBA_CACHE_LOCATOR_CLASSES"
LOCATORS = "swarm.run.kernel_place.KernelPlace,InTreeCacheLocator,UserWideCacheLocator,IPythonCacheLocator"
"""Ours in the place of numba's locator for a folder that is given, then what numba has for all others."""

# A statement that begins in the first column; one that only looks like it, in a text, says no more than that.
_IMPORT = re.compile(r"^(?:import [\w., ]+|from [\w.]+ import (?:\([^)]*\)|[\w*, ]+))", re.MULTILINE)


def claim_kernel_cache() -> None:
    """Set the driver's cache folder, to be called before any kernel is imported.

    The folder in the user's cache is kept from run to run; while another run holds it, this one works in a
    copy that is dropped at the end. A folder set by the user is left alone.
    """
    os.environ.setdefault(LOCATORS_VARIABLE, LOCATORS)
    if not os.environ.get(CACHE_VARIABLE):
        _claim_folder()
    tell_numba()


def tell_numba() -> None:
    """Have numba read its settings again, where a script imported it before this project: it has read them already."""
    if "numba" in sys.modules:
        sys.modules["numba"].config.reload_config()


def _claim_folder() -> None:
    """Name the folder in the user's cache, or one that is dropped at the end, to numba."""
    kept = user_cache() / f"kernels-{_sources_digest()}"
    try:
        kept.mkdir(parents=True, exist_ok=True)
        lock = _lock_file(kept).open("w")
    except OSError:
        os.environ[CACHE_VARIABLE] = _temporary_cache()
        return
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        lock.close()
        os.environ[CACHE_VARIABLE] = _temporary_cache()
        take_over(kept, Path(os.environ[CACHE_VARIABLE]))
        return
    atexit.register(lock.close)  # held until the process ends
    os.environ[CACHE_VARIABLE] = str(kept)
    drop_damaged(kept)
    atexit.register(seal, kept)  # before the lock is let go: what is registered last is called first
    _drop_stale(kept)


def _sources_digest() -> str:
    """Hash of every source a kernel may be built from, and of what compiles it."""
    digest = hashlib.sha256(f"{sys.version} numba {version('numba')}".encode())
    packages = Path(__file__).resolve().parents[2]
    for path in kernel_sources(packages):
        digest.update(str(path.relative_to(packages)).encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def kernel_sources(packages: Path) -> list[Path]:
    """Sources that import numba, and all that those import at their top: constants are compiled into kernels too.

    packages : the folder that holds `swarm` and `targets`

    The rest of the sources may change without a kernel being compiled again.
    """
    every = (path for name in ("swarm", "targets") for path in (packages / name).rglob("*.py"))
    imported = {path: _imported(path.read_text(encoding="utf-8")) for path in every}
    found: set[Path] = set()
    waiting = [path for path, names in imported.items() if "numba" in names]
    while waiting:
        path = waiting.pop()
        if path not in found:
            found.add(path)
            waiting += [
                used for used in map(packages.joinpath, map(_file_of, imported[path])) if used in imported
            ]
    return sorted(found)


def _imported(source: str) -> set[str]:
    """Modules, and names that may be modules, that a source imports at its top."""
    names: set[str] = set()
    # only the imports are parsed: all of the sources would take every command half a second
    for statement in _IMPORT.findall(source):
        for node in ast.parse(statement).body:
            if isinstance(node, ast.Import):
                names.update(alias.name for alias in node.names)
            elif isinstance(node, ast.ImportFrom) and node.module:
                names.update((node.module, *(f"{node.module}.{alias.name}" for alias in node.names)))
    return names


def _file_of(module: str) -> str:
    return f"{module.replace('.', '/')}.py"


def _lock_file(kept: Path) -> Path:
    return kept.with_name(f"{kept.name}.lock")


def _drop_stale(kept: Path) -> None:
    """Remove the kernels of other sources, unless a run holds them."""
    for other in kept.parent.glob("kernels-*"):
        if not other.is_dir() or other == kept:
            continue
        with contextlib.suppress(OSError), _lock_file(other).open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(other)
            _lock_file(other).unlink()


def take_over(source: Path, into: Path) -> None:
    """Have what a folder of kernels holds in another, too, as one more name of the same file where that can be.

    No bytes are copied then, and it is safe: numba never writes into a file, it puts a new one in its place. The
    source's holder may be writing: what goes missing meanwhile is compiled again.
    """
    if source.is_dir():
        with contextlib.suppress(shutil.Error, OSError):
            shutil.copytree(source, into, copy_function=_linked, dirs_exist_ok=True)


def _linked(source: str, into: str) -> None:
    """One more name for a file that is not there yet or differs; a copy where the two folders share no disk."""
    there = Path(into)
    if there.exists():
        if there.samefile(source):
            return
        there.unlink()
    try:
        os.link(source, into)
    except OSError:
        shutil.copy2(source, into)


def join_kernels(source: Path, into: Path) -> None:
    """Have all kernels of one folder in another, too; what is there stays.

    numba keeps a function's kernels as numbered files beside an index from signature to number. Two folders may use a
    number for different signatures, so files are not copied by name: each missing one gets a number that is free. The
    index is written last, and numba puts new files in the place of old ones, so that a reader finds either. A worker
    that ends takes its folder away meanwhile: what is gone is compiled again when it is used.
    """
    for index in _indices(source):
        place = into / index.parent.relative_to(source)
        there = place / index.name
        try:
            if not (there.exists() and (there.samefile(index) or there.read_bytes() == index.read_bytes())):
                _join_one(index, place)
        except (OSError, EOFError, ImportError, AttributeError, pickle.UnpicklingError):
            # gone, half written, or of a function that is gone: compiled again when it is used
            continue


def _indices(folder: Path) -> list[Path]:
    """The indices below a folder, in order; `os.walk`, unlike `Path.rglob`, goes on where a folder has gone."""
    return sorted(
        Path(place) / name for place, _, names in os.walk(folder) for name in names if name.endswith(".nbi")
    )


def _join_one(index: Path, place: Path) -> None:
    from numba.core.caching import IndexDataCacheFile  # after the folder was claimed

    with index.open("rb") as stream:
        pickle.load(stream)  # the version of numba
        stamp, _ = pickle.loads(stream.read())
    theirs = IndexDataCacheFile(str(index.parent), index.stem, stamp)
    place.mkdir(parents=True, exist_ok=True)
    ours = IndexDataCacheFile(str(place), index.stem, stamp)
    held = ours._load_index()
    missing = {key: name for key, name in theirs._load_index().items() if key not in held}
    for key, name in missing.items():
        number = next(k for k in range(1, len(held) + 2) if ours._data_name(k) not in held.values())
        held[key] = ours._data_name(number)
        content = (index.parent / name).read_bytes()
        with ours._open_for_write(str(place / held[key])) as stream:
            stream.write(content)
    if missing:
        ours._save_index(held)


def _temporary_cache() -> str:
    stack = contextlib.ExitStack()
    atexit.register(stack.close)
    return str(stack.enter_context(scratch_folder("swarm-kernels-")))


def user_cache() -> Path:
    """Folder for what can be made again: SWARM_CACHE_DIR, or the user's cache folder."""
    given = os.environ.get("SWARM_CACHE_DIR")
    if given:
        return Path(given)
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "swarm-flyby"
