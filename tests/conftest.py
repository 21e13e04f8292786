"""Settings shared by all tests: where kernels are cached, what a crosscheck may skip, the outside integrator."""

import os

import pytest

from swarm.kernel_cache import claim_kernel_cache

# Before any test module imports a compiled kernel.
claim_kernel_cache()

_REQUIRED = "SWARM_REQUIRE_CROSSCHECK"


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    """Turn a skipped crosscheck into a failure where the outside libraries are required to be there."""
    outcome = yield
    report = outcome.get_result()
    if report.skipped and item.get_closest_marker("crosscheck") and os.environ.get(_REQUIRED):
        report.outcome = "failed"
        report.longrepr = (
            f"{item.nodeid}: a crosscheck was skipped although {_REQUIRED} is set: {call.excinfo}"
        )


@pytest.hookimpl(hookwrapper=True)
def pytest_make_collect_report(collector):
    """The same for a whole module that skips itself on import."""
    outcome = yield
    report = outcome.get_result()
    if report.skipped and os.environ.get(_REQUIRED):
        report.outcome = "failed"
        report.longrepr = f"{collector.nodeid}: skipped on import although {_REQUIRED} is set"


@pytest.fixture(scope="session")
def assist_states():
    """Motion by assist: see tests/outside.py."""
    from tests.outside import Assist

    return Assist()
