"""A made-up run with its page, and a browser without a network to look at it with."""

import contextlib
from pathlib import Path

import pytest

from swarm.report.page import write_page
from tests.helpers.made_run import make_run

CHROMIUM = Path("/usr/bin/chromium")
_OPTIONS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--no-first-run",
)  # fmt: skip


@pytest.fixture(scope="session")
def drawn_run(tmp_path_factory):
    """A run folder with every table, and its page."""
    run = make_run(tmp_path_factory.mktemp("page") / "run")
    write_page(run)
    return run


@pytest.fixture(scope="session")
def browser():
    sync_api = pytest.importorskip(
        "playwright.sync_api", reason="playwright (extra `browser`) is not installed"
    )
    # where everything is required (SWARM_REQUIRE_CROSSCHECK=1) this skip is a failure: tests/conftest.py
    if not CHROMIUM.exists():
        pytest.skip(f"no browser at {CHROMIUM}")
    with sync_api.sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=str(CHROMIUM), args=list(_OPTIONS))
        yield made
        made.close()


@pytest.fixture
def look(browser):
    """Open a run's page without a network; anything the browser complains about fails the test."""
    with contextlib.ExitStack() as stack:
        said = []

        def opened(run, *, width=1440, height=900, scheme="light"):
            context = browser.new_context(
                viewport={"width": width, "height": height},
                color_scheme=scheme,
                offline=True,
                accept_downloads=True,
            )
            stack.callback(context.close)
            page = context.new_page()
            page.on("console", lambda message: said.append(message.text))
            page.on("pageerror", lambda error: said.append(str(error)))
            page.on("request", lambda request: said.append(request.url) if _goes_out(request.url) else None)
            page.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
            page.goto((run.folder / "report.html").as_uri())
            return page

        yield opened
        assert said == []


def _goes_out(url):
    return not url.startswith(("file:", "blob:", "data:"))
