"""The two ways a study can fail that are the user's to mend, each with its exit status."""

from __future__ import annotations

from pathlib import Path
from typing import Any


class InputError(Exception):
    """A file, key or line that cannot be used (exit status 2)."""

    def __init__(
        self,
        what: str,
        *,
        file: str | Path | None = None,
        place: str | None = None,
        found: object = None,
        expected: str | None = None,
        do: str | None = None,
    ) -> None:
        self.what, self.file, self.place = what, file, place
        self.found, self.expected, self.do = found, expected, do
        super().__init__(self._message())

    def __reduce__(self) -> tuple[object, ...]:
        names = ("what", "file", "place", "found", "expected", "do")
        return _input_error, ({name: getattr(self, name) for name in names},)

    def _message(self) -> str:
        where = ", ".join(_shown(part) for part in (self.file, self.place) if part is not None)
        lines = [f"{where}: {self.what}" if where else self.what]
        if self.found is not None:
            lines.append(f"  found:    {_shown(self.found)}")
        if self.expected is not None:
            lines.append(f"  expected: {self.expected}")
        if self.do is not None:
            lines.append(f"  do:       {self.do}")
        return "\n".join(lines)


# What a message quotes is never longer: what is in a file may be.
_LONGEST = 1000


def _shown(part: object) -> str:
    """A part of a message, cut, and without signs that a terminal would act on."""
    text = str(part)
    text = text if len(text) <= _LONGEST else f"{text[:_LONGEST]}..."
    return "".join(sign if sign.isprintable() or sign == "\n" else ascii(sign)[1:-1] for sign in text)


class NothingFeasible(Exception):
    """Every candidate was removed (exit status 3); `limit` says by what."""

    def __init__(self, what: str, *, limit: str) -> None:
        self.what, self.limit = what, limit
        super().__init__(f"{what}\n  limit: {limit}")

    def __reduce__(self) -> tuple[object, ...]:
        return _nothing_feasible, (self.what, self.limit)


class SchedulerLost(Exception):
    """The scheduler of the workers stopped answering; what was finished before is kept."""


def _input_error(fields: dict[str, Any]) -> InputError:
    return InputError(**fields)


def _nothing_feasible(what: str, limit: str) -> NothingFeasible:
    return NothingFeasible(what, limit=limit)
