"""Settings shared by all tests: the cache of kernels, what a crosscheck may skip, outside integrator, command line."""

import os

import pytest

from swarm.run.kernel_cache import claim_kernel_cache

# Before any test module imports a compiled kernel.
claim_kernel_cache()

_REQUIRED = "SWARM_REQUIRE_CROSSCHECK"
_MAY_BE_MISSING = ("crosscheck", "browser")  # markers of tests that are skipped without what they need


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    """Turn a skipped crosscheck into a failure where the outside libraries are required to be there."""
    outcome = yield
    report = outcome.get_result()
    marked = any(item.get_closest_marker(name) for name in _MAY_BE_MISSING)
    if report.skipped and marked and os.environ.get(_REQUIRED):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid}: skipped although {_REQUIRED} is set: {call.excinfo}"


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
    """Motion by assist: see tests/helpers/outside.py."""
    from tests.helpers.outside import Assist

    return Assist()


@pytest.fixture(scope="session")
def swarm():
    """Calls the command line in this process: `swarm("screen", study, "--run", folder)`."""
    from tests.helpers.command_line import call

    return call
