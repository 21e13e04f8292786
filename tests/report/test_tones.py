"""Colours: text and marks stand out from the paper, and classes from each other, for colour-blind readers too.

Outside values: WCAG 2.1 (relative luminance, contrast ratio; success criteria 1.4.3 and 1.4.11, from memory); Machado,
Oliveira and Fernandes, "A physiologically-based model for simulation of color vision deficiency", IEEE TVCG 15
(2009), matrices of severity 1.0 (from memory); CIE 1976 L*a*b* with D65 and the sRGB primaries of IEC 61966-2-1.
"""

import itertools

import numpy as np
import pytest

from swarm.report.tones import DARK, LIGHT, MARKS, RAMP_DARK, RAMP_LIGHT

THEMES = {"light": (LIGHT, RAMP_LIGHT), "dark": (DARK, RAMP_DARK)}
READERS = {
    "full colour vision": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
}
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
WHITE = TO_XYZ.sum(axis=1)
# A just noticeable difference is about 2.3; marks of 9 px beside each other want several times that (own choice).
DISTANCE_MIN = 15.0


def linear(tone):
    s = np.array([int(tone[k : k + 2], 16) / 255.0 for k in (1, 3, 5)])
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    x = (TO_XYZ @ np.clip(rgb, 0.0, 1.0)) / WHITE
    f = np.where(x > 216 / 24389, np.cbrt(x), (24389 / 27 * x + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(a, b):
    low, high = sorted(float(TO_XYZ[1] @ linear(tone)) for tone in (a, b))
    return (high + 0.05) / (low + 0.05)


def distance(a, b, reader):
    return float(np.linalg.norm(lab(READERS[reader] @ linear(a)) - lab(READERS[reader] @ linear(b))))


def test_the_measures_know_what_is_known_of_them():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert lab(linear("#ffffff")) == pytest.approx([100.0, 0.0, 0.0], abs=1e-9)
    # sRGB red in L*a*b* (D65): 53.24, 80.09, 67.20, a handbook value
    assert lab(linear("#ff0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.02)
    # red and green of equal lightness part for most readers and come close for those with deuteranopia
    assert distance("#c0504d", "#7f7a00", "full colour vision") > 2 * distance(
        "#c0504d", "#7f7a00", "deuteranopia"
    )


@pytest.mark.parametrize("theme", THEMES)
def test_text_has_a_contrast_of_4_5(theme):
    roles, _ = THEMES[theme]
    for text in ("ink", "mute"):
        for behind in ("paper", "sheet"):
            assert contrast(roles[text], roles[behind]) >= 4.5
    for behind in ("low", "middle", "high"):
        assert contrast(roles["ink"], roles[behind]) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
def test_marks_have_a_contrast_of_3(theme):
    roles, ramp = THEMES[theme]
    for tone in (*ramp, *(roles[name] for name in MARKS)):
        assert contrast(tone, roles["sheet"]) >= 3.0


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("reader", READERS)
def test_classes_are_told_apart(theme, reader):
    roles, ramp = THEMES[theme]
    for group in (ramp, [roles[name] for name in MARKS]):
        for a, b in itertools.combinations(group, 2):
            assert distance(a, b, reader) >= DISTANCE_MIN, (a, b)


@pytest.mark.parametrize("theme", THEMES)
def test_the_ramp_reads_in_grey(theme):
    lightness = [lab(linear(tone))[0] for tone in THEMES[theme][1]]
    steps = np.diff(lightness) if theme == "dark" else -np.diff(lightness)
    assert (steps > 4.0).all()
