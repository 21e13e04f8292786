"""Colours of the page and of the figures, by role, for light and dark paper.

Roles are told apart by readers with deuteranopia and protanopia too, text has a contrast of at least 4.5, marks of
at least 3; tests/report/test_tones.py computes both. The ramp's lightness falls (light) or rises (dark) steadily.
"""

from __future__ import annotations

LIGHT = {
    "paper": "#fbf8f3",
    "sheet": "#ffffff",
    "ink": "#2b3036",
    "mute": "#5d5a55",
    "line": "#d9d2c5",
    "leaf": "#4b7d64",
    "bloom": "#b22096",
    "bark": "#885414",
    "sky": "#056bec",
    "low": "#e3ecdf",
    "middle": "#f5e4b9",
    "high": "#f2cbd9",
}
DARK = {
    "paper": "#1d2126",
    "sheet": "#262b31",
    "ink": "#ece7dd",
    "mute": "#b9b2a6",
    "line": "#474d55",
    "leaf": "#1fae70",
    "bloom": "#d08fc6",
    "bark": "#eae317",
    "sky": "#5b9bfb",
    "low": "#25402f",
    "middle": "#574312",
    "high": "#5c2340",
}
RAMP_LIGHT = ("#c57f00", "#c45f4d", "#9e4a6a", "#8e268a", "#2d23b5", "#101726")
RAMP_DARK = ("#5b68f0", "#997a9b", "#f093fe", "#e0c0c3", "#fccf94", "#f5ea58")
RAMP_STEPS = len(RAMP_LIGHT)
# Roles that stand beside each other as marks of one figure.
MARKS = ("ink", "leaf", "bloom", "bark", "sky")


def variables(roles: dict[str, str], ramp: tuple[str, ...]) -> str:
    """Return the custom properties of a theme, for a style sheet."""
    named = {**roles, **{f"ramp{k}": tone for k, tone in enumerate(ramp)}}
    return " ".join(f"--{name}: {tone};" for name, tone in named.items())
