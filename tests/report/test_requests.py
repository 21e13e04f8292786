"""`swarm show` answers this machine about one run folder, and nothing else: real requests to a real port."""

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pyarrow as pa
import pytest
from typer.testing import CliRunner

from swarm.app.cli import app
from swarm.report.show import ROWS, ROWS_MAX, open_server
from swarm.run.folder import Run
from targets.base.errors import InputError
from tests.helpers.places import FIREWEED, ROOT
from tests.helpers.written import write_some

PAGE = "<!doctype html><title>Fireweed</title>"
PLANS = 5_000


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A run folder with a page, a figure, a large front, and things beside it that are nobody's business."""
    top = tmp_path_factory.mktemp("show")
    run = Run.create(top / "run", FIREWEED)
    run.write_text("report.html", PAGE)
    science = [float("nan"), *(k / PLANS for k in range(1, PLANS))]
    columns = {"plan": range(PLANS), "science": science, "levels": [[0.5, float("inf")]] * PLANS}
    write_some(
        run, "plans", pa.table({"plan": [k // 3 for k in range(3 * PLANS)], "probe": [0, 1, 2] * PLANS})
    )
    write_some(run, "front", pa.table({name: list(values) for name, values in columns.items()}))
    (run.folder / "figures").mkdir()
    (run.folder / "figures" / "front.svg").write_text("<svg/>")
    (run.folder / "figures" / "notes.txt").write_text("secret")
    (top / "secret.csv").write_text("secret")
    (run.folder / "figures" / "link.csv").symlink_to(top / "secret.csv")
    return run.folder


@pytest.fixture(scope="module")
def port(folder):
    server = open_server(folder)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield server.server_port
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def ask(port):
    """One request; the target is sent as it is written."""

    def asked(target, *, host=None, method="GET"):
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        try:
            connection.putrequest(method, target, skip_host=True)
            for name in [f"127.0.0.1:{port}"] if host is None else host:
                connection.putheader("Host", name)
            connection.endheaders()
            response = connection.getresponse()
            return response.status, dict(response.getheaders()), response.read().decode()
        finally:
            connection.close()

    return asked


def test_a_table_that_is_a_link_is_not_served(ask, folder):
    link = folder / "sensitivity.parquet"
    link.symlink_to(folder / "front.parquet")
    try:
        assert ask("/tables/sensitivity")[0] == 404
    finally:
        link.unlink()


def test_two_hundred_at_once_are_all_answered(ask):
    with ThreadPoolExecutor(200) as many:
        assert {status for status, _, _ in many.map(ask, ["/"] * 200)} == {200}


def test_a_client_that_says_nothing_is_let_go(port):
    with socket.create_connection(("127.0.0.1", port), timeout=15) as silent:
        begun = time.monotonic()
        assert silent.recv(1) == b""
        assert time.monotonic() - begun < 10.0


def test_the_page_is_the_file_of_the_folder(ask):
    for target in ("/", "/report.html", "/report.html?x=1"):
        status, headers, text = ask(target)
        assert (status, text) == (200, PAGE)
        assert headers["Content-Type"] == "text/html; charset=utf-8"
        assert headers["X-Content-Type-Options"] == "nosniff"
    # what would let another origin's page read the answer
    assert not [name for name in headers if name.startswith("Access-Control")]


def test_a_question_for_the_headers_alone_gets_them_alone(ask):
    status, headers, text = ask("/", method="HEAD")
    assert (status, headers["Content-Length"], text) == (200, str(len(PAGE)), "")


@pytest.mark.parametrize(
    "names",
    [
        [],
        ["example.org"],
        ["127.0.0.1.example.org"],
        ["127.0.0.1"],
        ["127.0.0.1:1"],
        ["evil@127.0.0.1"],
        ["[::1]"],
    ],
    ids=str,
)
def test_a_request_for_another_host_is_refused(ask, names):
    for target in ("/", "/tables/front", "/figures/front.svg"):
        status, _, text = ask(target, host=names)
        assert status == 421
        assert PAGE not in text


def test_two_hosts_and_a_foreign_target_are_refused(ask, port):
    own = f"127.0.0.1:{port}"
    assert ask("/", host=[own, "example.org"])[0] == 421
    assert ask("http://example.org/report.html")[0] == 421


def test_this_machine_may_be_called_by_its_name(ask, port):
    assert ask("/", host=[f"localhost:{port}"])[0] == 200
    assert ask("/", host=[f"LocalHost:{port}"])[0] == 200


def test_it_listens_on_this_machine_only(folder):
    server = open_server(folder)
    try:
        assert server.socket.family == socket.AF_INET
        assert server.socket.getsockname()[0] == "127.0.0.1"
    finally:
        server.server_close()


@pytest.mark.parametrize(
    "target",
    [
        "/../secret.csv", "/figures/../../secret.csv", "/figures/..%2f..%2fsecret.csv", "/figures/%2e%2e/manifest.json",
        "/figures//etc/passwd", "/figures/link.csv", "/figures/notes.txt", "/figures/", "/figures", "/figures/.svg",
        "/figures/front.svg/", "/figures/front.svg%00.csv", "/figures/..%5csecret.csv", "/manifest.json",
        "/study.toml", "/front.parquet", "/tables", "/tables/", "/tables/../front", "/tables/%2e%2e%2ffront",
        "/tables/no_such", "/tables/front.parquet", "/tables/*", "/handoff/README.txt", "/nowhere", "*",
    ],
)  # fmt: skip
def test_all_else_is_not_there(ask, target):
    status, _, text = ask(target)
    assert status == 404
    assert "secret" not in text.replace("secret.csv", "")


def test_a_figure_is_given_with_its_type_and_runs_nothing(ask):
    status, headers, text = ask("/figures/front.svg")
    assert (status, headers["Content-Type"], text) == (200, "image/svg+xml", "<svg/>")
    assert "script-src" not in headers["Content-Security-Policy"]
    assert "default-src 'none'" in headers["Content-Security-Policy"]


def test_rows_of_a_table_come_on_demand(ask):
    status, headers, text = ask("/tables/front?from=4990&count=100")
    assert (status, headers["Content-Type"]) == (200, "application/json")
    rows = json.loads(text)
    assert {key: rows[key] for key in ("table", "rows", "from", "count")} == {
        "table": "front",
        "rows": PLANS,
        "from": 4990,
        "count": 10,
    }
    assert rows["columns"]["plan"] == list(range(4990, 5000))
    assert rows["columns"]["science"] == [k / PLANS for k in range(4990, 5000)]
    assert json.loads(ask("/tables/front")[2])["count"] == ROWS
    assert json.loads(ask("/tables/front?from=5000")[2])["columns"]["plan"] == []


def test_the_rows_of_one_plan_are_found(ask):
    rows = json.loads(ask("/tables/plans?plan=4321")[2])
    assert rows["rows"] == rows["count"] == 3
    assert rows["columns"] == {"plan": [4321] * 3, "probe": [0, 1, 2]}
    assert json.loads(ask("/tables/plans?plan=4321&probe=2&from=0&count=9")[2])["columns"]["probe"] == [2]
    assert json.loads(ask("/tables/plans?plan=999999")[2])["rows"] == 0


def test_what_is_no_number_is_null(ask):
    text = ask("/tables/front?count=2")[2]
    rows = json.loads(text, parse_constant=pytest.fail)
    assert rows["columns"]["science"] == [None, 1 / PLANS]
    assert rows["columns"]["levels"] == [[0.5, None]] * 2


@pytest.mark.parametrize(
    "query",
    [
        "from=-1",
        "from=x",
        "count=1.5",
        "count=",
        f"count={ROWS_MAX + 1}",
        "from=1&from=2",
        "sql=drop",
        "from=%D9%A3",
        "science=1",
        "none=1",
    ],
)
def test_a_span_that_is_none_is_said(ask, query):
    status, _, text = ask(f"/tables/front?{query}")
    assert status == 400
    assert "whole number" in text or "at most" in text


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "CONNECT"])
def test_nothing_can_be_changed(ask, folder, method):
    before = sorted(path.name for path in folder.rglob("*"))
    assert ask("/tables/front", method=method)[0] in (405, 501)
    assert sorted(path.name for path in folder.rglob("*")) == before


def test_a_run_without_a_page_and_a_port_in_use_are_said(tmp_path, folder, port):
    with pytest.raises(InputError, match="no run is in this folder"):
        open_server(tmp_path)
    run = Run.create(tmp_path / "run", FIREWEED)
    with pytest.raises(InputError, match="no page yet"):
        open_server(run.folder)
    with pytest.raises(InputError, match=f"--port {port}: the port cannot be had"):
        open_server(folder, port)


def test_what_cannot_be_shown_is_bad_input(tmp_path):
    done = CliRunner().invoke(app, ["show", "--run", str(tmp_path)])
    assert done.exit_code == 2
    assert "no run is in this folder" in done.stderr


def test_ctrl_c_ends_the_command_without_an_error(folder):
    command = [sys.executable, "-m", "swarm.app.cli", "show", "--run", str(folder)]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        command, cwd=ROOT, env=environment, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        try:
            said = process.stdout.readline()
            address = said.split()[1]
            connection = http.client.HTTPConnection(address.removeprefix("http://").rstrip("/"), timeout=30)
            connection.request("GET", "/")
            assert connection.getresponse().read().decode() == PAGE
            connection.close()
            process.send_signal(signal.SIGINT)
            _, errors = process.communicate(timeout=60)
        finally:
            process.kill()
    assert process.returncode == 0, errors
    assert errors == ""
