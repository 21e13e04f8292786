"""Many studies: one base and a list or a grid of changes, a run folder each, to be gone on with after any stop.

    base = "study.toml"                       # relative to this file; so are the paths in the study, to the study

    [[variations]]
    name = "weaker"
    changes = { "probe.burn_limit_m_s" = 100.0 }

    [grid]                                    # every combination, named by what it changes: count=6,weight=2
    "probe.count" = [6, 12]
    "science.rows[0].weight" = [2.0, 4.0]

All variations are checked before anything runs. The driver alone writes; the workers compute. What shares catalogue
and dates is swept in one pass. Variations run one after another, so that one that fails costs the others nothing.
"""

from __future__ import annotations

import copy
import hashlib
import itertools
import json
import re
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import tomli_w

from swarm.app.batch_names import grid_names
from swarm.app.pipeline import Options, Work, finish_all, is_due, on_first_start, start_run
from swarm.reach.every_kind import screen_every_kind
from swarm.reach.found import Screening
from swarm.run.folder import Run
from swarm.run.lock import LOCK, folder_held
from swarm.run.progress import Silent, Teller
from swarm.run.workers import Pool, open_workers
from swarm.run.writing import write_text_atomically
from swarm.study.schema import Study, read_study, require_searched, require_supported, study_from
from swarm.study.toml_file import read_toml
from targets.base.errors import InputError, NothingFeasible
from targets.catalogue.reading import Reading

_KEYS = ("base", "variations", "grid")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._+=,-]{0,99}")
_PART = re.compile(r"([A-Za-z_][A-Za-z0-9_]*)((?:\[\d+\])*)")
STUDIES = "studies"  # folder of the variations' study files, beside the run folders


@dataclass(frozen=True)
class Variation:
    """A study of its own: the base with changes (dotted key -> value)."""

    name: str
    changes: dict[str, Any]
    text: str  # the study file
    study: Study


@dataclass(frozen=True)
class Outcome:
    """How a variation ended: `status` is "done", "bad input", "nothing feasible" or "failed", with the reason."""

    name: str
    status: str
    reason: str = ""


# --- what is asked ------------------------------------------------------------------------------------------


def read_variations(path: Path) -> tuple[Variation, ...]:
    """Read and check every variation; the first that cannot be used is an InputError that names it."""
    asked = read_toml(path, what="the file of variations")
    for key in asked:
        if key not in _KEYS:
            raise InputError("unknown key", file=path, place=key, found=key, expected=", ".join(_KEYS))
    base = _base_path(path, asked)
    read_study(base)
    data = read_toml(base, what="the study file")
    variations = []
    for name, changes in _listed(path, asked):
        changed = copy.deepcopy(data)
        for key, value in changes.items():
            set_key(changed, key, value, file=path, place=f"variation {name}: {key}")
        study = _checked(changed, base, file=path, name=name)
        variations.append(Variation(name, changes, tomli_w.dumps(changed), study))
    _refuse_twice(path, [variation.name for variation in variations])
    return tuple(variations)


def _base_path(path: Path, asked: dict[str, Any]) -> Path:
    base = asked.get("base")
    if not isinstance(base, str):
        raise InputError(
            "no base study", file=path, place="base", found=base, expected="the path of a study file"
        )
    return path.parent / base


def _listed(path: Path, asked: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    variations, grid = asked.get("variations", []), asked.get("grid", {})
    if not isinstance(variations, list) or not isinstance(grid, dict) or not (variations or grid):
        expected = "[[variations]] with name and changes, or a [grid] of keys with lists of values"
        raise InputError("nothing to vary", file=path, expected=expected)
    for k, entry in enumerate(variations):
        place = f"variations[{k}]"
        if (
            not isinstance(entry, dict)
            or set(entry) - {"name", "changes"}
            or not isinstance(entry.get("name"), str)
        ):
            raise InputError(
                "not a variation", file=path, place=place, found=entry, expected="name and changes"
            )
        if not isinstance(entry.get("changes", {}), dict):
            raise InputError(
                "not a table of keys", file=path, place=f"{place}.changes", found=entry["changes"]
            )
        yield entry["name"], dict(_flat(entry.get("changes", {})))
    flat = dict(_flat(grid))
    for key, values in flat.items():
        if not isinstance(values, list) or not values:
            raise InputError("not a list of values", file=path, place=f"grid.{key}", found=values)
    if flat:
        combined = [
            dict(zip(flat, values, strict=True)) for values in itertools.product(*map(tuple, flat.values()))
        ]
        yield from zip(grid_names(combined), combined, strict=True)


def _flat(table: dict[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    """(dotted key, value) of nested tables: TOML reads an unquoted a.b = 1 as a table in a table."""
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}", value


def _refuse_twice(path: Path, names: list[str]) -> None:
    for k, name in enumerate(names):
        if not _NAME.fullmatch(name) or name == STUDIES:
            expected = f"letters, digits and . _ + = , -, not {STUDIES!r}: a folder is named after it"
            raise InputError("not a name for a variation", file=path, found=name, expected=expected)
        if names.index(name) != k:
            raise InputError("two variations have one name", file=path, found=name)


def set_key(data: dict[str, Any], key: str, value: Any, *, file: Path, place: str) -> None:
    """Set a dotted key, e.g. "science.rows[0].weight"; sections that are not there are made."""
    parts: list[str | int] = []
    for piece in key.split("."):
        found = _PART.fullmatch(piece)
        if found is None:
            raise InputError("not a key", file=file, place=place, found=piece)
        parts += [found[1], *(int(digits) for digits in re.findall(r"\[(\d+)\]", found[2]))]
    here: Any = data
    for part, following in itertools.pairwise(parts):
        if (
            isinstance(part, str)
            and isinstance(here, dict)
            and part not in here
            and isinstance(following, str)
        ):
            here[part] = {}
        here = _inside(here, part, file=file, place=place)
    last = parts[-1]
    if isinstance(last, int):
        _inside(here, last, file=file, place=place)
    elif not isinstance(here, dict):
        raise InputError("there is no such key", file=file, place=place, found=here)
    here[last] = value


def _inside(here: Any, part: str | int, *, file: Path, place: str) -> Any:
    try:
        if isinstance(part, int) != isinstance(here, list):
            raise KeyError(part)
        return here[part]
    except (KeyError, IndexError, TypeError):
        raise InputError("there is no such key", file=file, place=place, found=str(part)) from None


def _checked(data: dict[str, Any], base: Path, *, file: Path, name: str) -> Study:
    said = f"{file}, variation {name}"
    study = study_from(data, file=said)
    require_supported(study, file=said)
    require_searched(study, file=said)
    study._base = base.parent
    return study


# --- running it ---------------------------------------------------------------------------------------------


def run_batch(path: Path, into: Path, options: Options, teller: Teller | None = None) -> tuple[Outcome, ...]:
    """Run every variation into a folder of its own under `into`; what was finished before is kept.

    Raises InputError, before anything runs, for a bad variation, for a folder that holds another batch, and
    for one that holds this batch without `options.resume`.
    """
    teller = teller or Silent()
    variations = read_variations(path)
    base = variations[0].study.base
    _require_place(into)
    settings = replace(options, resume=True, base=base)
    outcomes: dict[str, Outcome] = {}
    into.mkdir(parents=True, exist_ok=True)
    with ExitStack() as held:
        held.enter_context(folder_held(into, say=teller.say))
        _claim(into, variations, resume=options.resume)
        pool = held.enter_context(open_workers(options.workers, options.scheduler))
        on_first_start(pool, options, teller)
        for group in _sharing(variations):
            teller.say(
                f"{len(group)} variations share a catalogue and dates: " + ", ".join(v.name for v in group)
            )
            outcomes |= _run_group(group, into, settings, pool, teller)
        ordered = tuple(outcomes[variation.name] for variation in variations)
        write_text_atomically(into / "batch.json", _batch_text(variations, ordered))
    return ordered


def _require_place(into: Path) -> None:
    if into.exists() and not into.is_dir():
        raise InputError("not a folder", file=into, expected="a new or empty folder for the batch")


def _claim(into: Path, variations: tuple[Variation, ...], *, resume: bool) -> None:
    record = into / "batch.json"
    asked = json.loads(_batch_text(variations, ()))["variations"]
    if record.is_file():
        try:
            earlier = json.loads(record.read_text(encoding="utf-8"))["variations"]
        except (ValueError, KeyError) as problem:
            raise InputError(
                "the record of the batch cannot be read", file=record, found=repr(problem)
            ) from None
        if earlier != asked:
            raise InputError("this folder holds another batch", file=into, do="give another --into DIR")
        if not resume:
            do = "give another --into DIR, or --resume to go on with this one"
            raise InputError("this folder already holds this batch", file=into, do=do)
    elif any(entry.name != LOCK for entry in into.iterdir()):
        raise InputError(
            "this folder is not empty", file=into, expected="a new or empty folder for the batch"
        )
    (into / STUDIES).mkdir(parents=True, exist_ok=True)
    write_text_atomically(record, _batch_text(variations, ()))
    for variation in variations:
        write_text_atomically(into / STUDIES / f"{variation.name}.toml", variation.text)


def _batch_text(variations: tuple[Variation, ...], outcomes: tuple[Outcome, ...]) -> str:
    """The record of a batch: what was asked and, once all have run, how each ended."""
    asked = {
        v.name: {"changes": v.changes, "sha256": hashlib.sha256(v.text.encode()).hexdigest()}
        for v in variations
    }
    ended = {outcome.name: {"status": outcome.status, "reason": outcome.reason} for outcome in outcomes}
    record = {"variations": asked, "outcomes": ended}
    return json.dumps(record, indent=2, sort_keys=True, ensure_ascii=False, default=str) + "\n"


def _sharing(variations: tuple[Variation, ...]) -> list[list[Variation]]:
    """Variations that one pass over the catalogue can serve, in order of first appearance."""
    groups: dict[str, list[Variation]] = {}
    for variation in variations:
        study = variation.study
        key = (
            study.catalogue,
            study.study.start,
            study.study.end,
            study.search.step_days,
            study.search.chunk_bodies,
        )
        groups.setdefault(repr(key), []).append(variation)
    return list(groups.values())


def _run_group(
    group: list[Variation], into: Path, options: Options, pool: Pool, teller: Teller
) -> dict[str, Outcome]:
    with ExitStack() as held:
        return _run_held(group, into, options, pool, teller, held)


def _run_held(
    group: list[Variation], into: Path, options: Options, pool: Pool, teller: Teller, held: ExitStack
) -> dict[str, Outcome]:
    """Start the runs of a group, whose folders `held` lets go of, screen them together, finish each."""
    outcomes: dict[str, Outcome] = {}
    started: list[tuple[Variation, Run, Reading]] = []
    reading: Reading | None = None
    for variation in group:
        try:
            place = into / STUDIES / f"{variation.name}.toml"
            folder = into / variation.name
            run, reading = start_run(place, folder, options, teller, held=held, reading=reading)
            started.append((variation, run, reading))
        except Exception as problem:
            outcomes[variation.name] = _failed(variation, problem)
    screens = _screen_group(started, options, pool, teller)
    for variation, run, known in started:
        try:
            teller.say(f"variation {variation.name}")
            screening = screens.get(variation.name)
            finish_all(Work(run, options, pool, teller, reading=known, screening=screening))
            outcomes[variation.name] = Outcome(variation.name, "done")
        except Exception as problem:
            outcomes[variation.name] = _failed(variation, problem)
    return outcomes


def _screen_group(
    started: list[tuple[Variation, Run, Reading]], options: Options, pool: Pool, teller: Teller
) -> dict[str, Screening]:
    """One sweep for all that have not been screened; each alone later where they cannot be swept together."""
    due = [(v, run, known) for v, run, known in started if is_due(run, "screen", options)]
    if len(due) < 2:
        return {}
    try:
        found = screen_every_kind(
            [run.study for _, run, _ in due], due[0][2].catalogue, pool=pool, on_done=teller.stage("screen")
        )
    except (InputError, NothingFeasible) as problem:
        teller.say(f"not swept together ({problem}); each is screened alone")
        return {}
    return {variation.name: screening for (variation, _, _), screening in zip(due, found, strict=True)}


def _failed(variation: Variation, problem: Exception) -> Outcome:
    if isinstance(problem, InputError):
        return Outcome(variation.name, "bad input", str(problem))
    if isinstance(problem, NothingFeasible):
        return Outcome(variation.name, "nothing feasible", str(problem))
    return Outcome(variation.name, "failed", f"{type(problem).__name__}: {problem}")
