"""A front too large for one page: the probes of a plan come from `swarm show` when it is chosen."""

import threading

import pyarrow.compute as pc
import pytest

from swarm.report import page as page_of
from swarm.report.show import address_of, open_server
from tests.helpers.made_run import make_run

pytestmark = pytest.mark.browser
ROWS = "document.querySelectorAll('#encounters tbody tr').length"


@pytest.fixture
def large_run(tmp_path, monkeypatch):
    monkeypatch.setattr(page_of, "PLANS_CARRIED", 10)
    run = make_run(tmp_path / "run", plans=40, targets=20, probes=4, chosen=2)
    page_of.write_page(run)
    return run


@pytest.fixture
def opened(browser):
    """Open an address in a window of its own; what the browser complains about is returned with it."""
    context = browser.new_context()
    said = []

    def go(address):
        page = context.new_page()
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.goto(address)
        return page

    yield go, said
    context.close()


@pytest.fixture
def served(large_run):
    server = open_server(large_run.folder)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield address_of(server)
    server.shutdown()
    thread.join()
    server.server_close()


def choose(page, plan):
    page.fill("#plan", str(plan))
    page.dispatch_event("#plan", "change")


def test_the_page_carries_the_chosen_plan_only(large_run):
    text = (large_run.folder / "report.html").read_text(encoding="utf-8")
    carried = page_of.page_data(page_of.read_page_tables(large_run))["tables"]
    assert set(carried["plans"]["plan"]) == {2} == set(carried["successes"]["plan"])
    assert len(carried["front"]["plan"]) == 40
    assert "connect-src 'self'" in text


def test_a_page_that_carries_all_may_ask_nobody(drawn_run):
    assert "connect-src" not in (drawn_run.folder / "report.html").read_text(encoding="utf-8")


def test_probes_come_from_the_server_when_a_plan_is_chosen(large_run, served, opened):
    go, said = opened
    page = go(served)
    for plan in (31, 7, 2, 31):
        choose(page, plan)
        rows = large_run.read_table("plans").filter(pc.equal(large_run.read_table("plans")["plan"], plan))
        page.wait_for_selector(f"html[data-plan='{plan}']")
        assert page.evaluate(ROWS) == rows.num_rows
        shown = page.evaluate(
            "document.querySelector('[data-figure=map]').drawnFrom.layers.map(one => one.of).filter(Number.isInteger)"
        )
        assert set(shown) == set(rows["opportunity"].to_pylist())
    assert said == []


def test_of_a_file_it_is_said_where_the_probes_are(large_run, opened):
    go, said = opened
    page = go((large_run.folder / "report.html").as_uri())
    choose(page, 31)
    page.wait_for_selector("html[data-plan='31']")
    assert "swarm show --run DIR" in page.inner_text("#plan-said")
    assert page.evaluate(ROWS) == 0
    choose(page, 2)
    page.wait_for_selector("html[data-plan='2']")
    assert page.evaluate(ROWS) > 0
    assert said == []
