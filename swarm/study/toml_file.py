"""TOML files of a size that people write, read within bounds."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from targets.base.errors import InputError
from targets.base.files import MOST_TEXT_BYTES, read_limited

# Own choice: the study's own keys go three deep. A key of thousands of parts takes the parser gigabytes.
_DEEPEST = 32
_KEY = r"(?:[\w-]++|\"[^\"\n]*+\"|'[^'\n]*+')"
_DEEP_KEY = re.compile(rf"(?<![\w.\"'-]){_KEY}(?:[ \t]*+\.[ \t]*+{_KEY}){{{_DEEPEST},}}")
# "Implementations ... 64-bit signed integers": TOML v1.0.0, Integer.
_INT_MAX = 2**63 - 1


def read_toml(path: Path, *, what: str) -> dict[str, Any]:
    """The file as TOML reads it; InputError for anything else.

    what : what the file is, for the messages: "the study file"
    """
    try:
        text = read_limited(path, most_bytes=MOST_TEXT_BYTES).decode("utf-8")
    except FileNotFoundError:
        raise InputError(f"{what} is not there", file=path, expected="a TOML file") from None
    except UnicodeDecodeError as problem:
        raise InputError("not a TOML text", file=path, found=f"byte {problem.start} is not UTF-8") from None
    except OSError as problem:
        found = problem.strerror or "a folder"
        raise InputError(f"{what} cannot be read", file=path, found=found) from None
    except ValueError as problem:  # a zero byte in the name
        raise InputError(f"{what} cannot be read", file=path, found=problem) from None
    return parse_toml(text, file=path)


def parse_toml(text: str, *, file: Path) -> dict[str, Any]:
    """The tables of a text; InputError where it is no TOML, too deep, or holds numbers past 64 bits."""
    if (deep := _DEEP_KEY.search(text)) is not None:
        line = text.count("\n", 0, deep.start()) + 1
        raise _too_deep(file, f"line {line}")
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        said = str(problem)[:300]
        raise InputError("not valid TOML", file=file, found=said, expected="key = value lines") from None
    except RecursionError:
        raise _too_deep(file, None) from None
    except ValueError:  # Python's own limit of digits
        raise _too_large(file, None) from None
    _require_bounded(data, file)
    return data


def _require_bounded(data: dict[str, Any], file: Path) -> None:
    waiting: list[tuple[str, Any, int]] = [("", data, 0)]
    while waiting:
        place, value, depth = waiting.pop()
        if depth > _DEEPEST:
            raise _too_deep(file, place[:80])
        if isinstance(value, int) and not -_INT_MAX - 1 <= value <= _INT_MAX:
            raise _too_large(file, place)
        if isinstance(value, dict):
            waiting += [(f"{place}.{key}".lstrip("."), inner, depth + 1) for key, inner in value.items()]
        elif isinstance(value, list):
            waiting += [(f"{place}[{k}]", inner, depth + 1) for k, inner in enumerate(value)]


def _too_deep(file: Path, place: str | None) -> InputError:
    expected = f"tables and lists at most {_DEEPEST} deep"
    return InputError("the file is nested too deeply", file=file, place=place, expected=expected)


def _too_large(file: Path, place: str | None) -> InputError:
    return InputError("a whole number that is too large", file=file, place=place, expected="at most 64 bits")
