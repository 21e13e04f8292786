"""How long the dispersion of twelve probes takes. Prints; asserts no time."""

import time

import pytest

from swarm.refine.dispersion import disperse, draws_of
from tests.refine.conftest import arc, field, known, made, make_study  # noqa: F401

pytestmark = pytest.mark.benchmark


def test_twelve_probes_ten_thousand_and_a_thousand_samples(field, made, known):  # noqa: F811
    study = make_study()
    disperse(study, field, made, known=known, full=True, draws=draws_of(0, 0, 2))
    begun = time.perf_counter()
    for probe in range(12):
        draws = draws_of(1, probe, study.refine.linear_samples)
        disperse(study, field, made, known=known, full=False, draws=draws)
        some = draws.first(study.refine.full_samples)
        disperse(study, field, made, known=known, full=True, draws=some)
    print(f"\n12 probes, 203 days: {time.perf_counter() - begun:.1f} s on one core")  # noqa: T201
