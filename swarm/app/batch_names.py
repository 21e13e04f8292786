"""Names of a grid's variations, by what was changed: `count=3,burn=80`; each is the name of a folder, too."""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

NAME_MAX = 100
_UNITS = "m_s|km_s|kg|days?|deg|km|au|mm|ms|m2|w|ghz|bit_s|urad|mrad|dbi|n|s|h|years"
# What a reader needs of a key is what is limited, not that it is a limit.
_TAIL = re.compile(rf"(?:_(?:limit|max|min))?(?:_(?:{_UNITS}))?$")
_NOT_SAFE = re.compile(r"[^A-Za-z0-9._+-]+")


def grid_names(combinations: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return a name for each combination of a grid: key -> value; all have the same keys.

    Names that a file system may take for one (letters in another case, signs that no file name should have) are told
    apart by the start of a hash of what they change. Equal combinations get equal names.
    """
    short = _short_keys(list(combinations[0])) if combinations else {}
    plain = [
        ",".join(f"{short[key]}={_value(value)}" for key, value in each.items()) for each in combinations
    ]
    seen: dict[str, set[str]] = {}
    for name, each in zip(plain, combinations, strict=True):
        seen.setdefault(name.casefold()[:NAME_MAX], set()).add(_told(each))
    return [
        name
        if len(name) <= NAME_MAX and len(seen[name.casefold()[:NAME_MAX]]) == 1
        else _with_hash(name, each)
        for name, each in zip(plain, combinations, strict=True)
    ]


def _short_keys(keys: Sequence[str]) -> dict[str, str]:
    """The last part of each key without unit; where two would be the same, the whole key."""
    lasts = {key: _TAIL.sub("", key.rsplit(".", 1)[-1]) for key in keys}
    often = Counter(lasts.values())
    return {key: _safe(last if last and often[last] == 1 else key) for key, last in lasts.items()}


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return _safe(f"{value:.12g}")
    if isinstance(value, list):
        return "+".join(_value(item) for item in value) or "none"
    return _safe(str(value))


def _safe(text: str) -> str:
    return _NOT_SAFE.sub("-", text)


def _told(changes: Mapping[str, Any]) -> str:
    return repr(sorted(changes.items()))


def _with_hash(name: str, changes: Mapping[str, Any]) -> str:
    digest = hashlib.sha256(_told(changes).encode()).hexdigest()[:8]
    return f"{name[: NAME_MAX - 9].rstrip(',=.-')}-{digest}"
