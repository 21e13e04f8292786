"""A run folder's page on this machine: its figures, and rows of its tables on demand.

    /  /report.html                       the page
    /figures/NAME                         a figure of it, or its data (svg, png, csv)
    /tables/NAME?from=0&count=1000        rows of a table as JSON, column by column
    /tables/plans?plan=17                 of those only the rows with that whole number in that column

Read only. It listens on 127.0.0.1 and answers only requests that name this machine as their host: a page from
elsewhere may have its own name resolved to 127.0.0.1, and would otherwise be allowed to read the answers.
"""

from __future__ import annotations

import json
import math
import re
from functools import partial
from http import HTTPStatus
from http.client import HTTP_PORT
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, unquote, urlsplit

import pyarrow as pa
import pyarrow.compute as pc

from swarm.run.folder import Run
from targets.base.errors import InputError

ADDRESS = "127.0.0.1"
ROWS, ROWS_MAX = 1_000, 20_000  # given unless asked, and at most, in one answer
_FIGURE_TYPES = {".svg": "image/svg+xml", ".png": "image/png", ".csv": "text/csv; charset=utf-8"}
_FIGURE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]*")
_NUMBER = re.compile(r"[0-9]{1,12}")
# Own choice: a browser on this machine sends its request at once.
_TIMEOUT_S = 5.0
_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}
# A figure opened by itself runs nothing; the page brings its own policy.
_FIGURE_POLICY = {"Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; sandbox"}


class Refused(Exception):
    """A request that is not answered: status and one sentence."""

    def __init__(self, status: HTTPStatus, said: str) -> None:
        self.status, self.said = status, said
        super().__init__(said)


def open_server(folder: str | Path, port: int = 0) -> ThreadingHTTPServer:
    """Return a server of a run folder, bound to 127.0.0.1; `serve_forever` starts it.

    port : 0 takes any that is free

    Raises InputError where the folder holds no run or no page, or the port cannot be had.
    """
    run = Run.open(folder)
    if not (run.folder / "report.html").is_file():
        do = "write it with: swarm report --run DIR"
        raise InputError("the run has no page yet", file=run.folder, expected="report.html", do=do)
    try:
        server = _Server((ADDRESS, port), partial(_Handler, folder=run.folder.resolve()))
    except (OSError, OverflowError) as problem:
        raise InputError("the port cannot be had", place=f"--port {port}", found=problem) from None
    return server


def address_of(server: ThreadingHTTPServer) -> str:
    return f"http://{ADDRESS}:{server.server_port}/"


def serve(server: ThreadingHTTPServer) -> None:
    """Answer until interrupted (Ctrl-C), then give the port back."""
    try:
        server.serve_forever()
    except KeyboardInterrupt:
        pass
    finally:
        server.server_close()


# --- what is answered ---------------------------------------------------------------------------------------


def answer(folder: Path, target: str) -> tuple[str, bytes, dict[str, str]]:
    """Return content type, content and further headers for the target of a request; else Refused."""
    asked = urlsplit(target)
    if asked.scheme or asked.netloc:
        raise Refused(HTTPStatus.MISDIRECTED_REQUEST, "this server speaks for one run folder only")
    path = unquote(asked.path)
    if path in ("/", "/report.html"):
        return "text/html; charset=utf-8", _bytes_of(folder / "report.html"), {}
    if path.startswith("/figures/"):
        return _figure(folder / "figures", path.removeprefix("/figures/"))
    if path.startswith("/tables/"):
        rows = table_rows(Run.open(folder), path.removeprefix("/tables/"), asked.query)
        return "application/json", _json(rows).encode("utf-8"), {}
    raise Refused(HTTPStatus.NOT_FOUND, "there is nothing here; the page is at /")


def _figure(figures: Path, name: str) -> tuple[str, bytes, dict[str, str]]:
    kind = _FIGURE_TYPES.get(Path(name).suffix)
    if kind is None or not _FIGURE.fullmatch(name):
        raise Refused(HTTPStatus.NOT_FOUND, "no such figure")
    return kind, _bytes_of(figures / name), _FIGURE_POLICY


def _bytes_of(path: Path) -> bytes:
    # a link could lead out of the run folder
    if path.is_symlink() or path.parent.is_symlink() or not path.is_file():
        raise Refused(HTTPStatus.NOT_FOUND, f"the run has no {path.name}")
    return path.read_bytes()


def table_rows(run: Run, name: str, query: str) -> dict[str, Any]:
    """Return rows of a table, column by column, with how many there are in all.

    query : "from=N&count=M&COLUMN=K", each optional: M rows from the N-th on, of those that hold K in that column of
            whole numbers; beyond the table's end there are no rows
    """
    # a link could lead out of the run folder
    if name not in {path.stem for path in run.folder.glob("*.parquet") if not path.is_symlink()}:
        raise Refused(HTTPStatus.NOT_FOUND, "no such table")
    asked = _numbers(query)
    first, count = asked.pop("from", 0), asked.pop("count", ROWS)
    if count > ROWS_MAX:
        raise Refused(HTTPStatus.BAD_REQUEST, f"at most {ROWS_MAX} rows at a time")
    table = run.read_table(name)
    for column, number in asked.items():
        if column not in table.column_names or not pa.types.is_integer(table.schema.field(column).type):
            raise Refused(HTTPStatus.BAD_REQUEST, "no such column of whole numbers")
        table = table.filter(pc.equal(table[column], number))
    rows = table.slice(first, count)
    columns = {column: [_plain(cell) for cell in rows[column].to_pylist()] for column in rows.column_names}
    return {"table": name, "rows": table.num_rows, "from": first, "count": rows.num_rows, "columns": columns}


def _numbers(query: str) -> dict[str, int]:
    """Return what a query asks for; keys and whole numbers, each once."""
    asked = parse_qs(query, keep_blank_values=True)
    for values in asked.values():
        if len(values) != 1 or not _NUMBER.fullmatch(values[0]):
            raise Refused(HTTPStatus.BAD_REQUEST, "whole numbers are asked for, each once")
    return {key: int(values[0]) for key, values in asked.items()}


def _plain(cell: Any) -> Any:
    """JSON has no NaN and no infinity: what is not a number is null."""
    if isinstance(cell, list):
        return [_plain(one) for one in cell]
    return None if isinstance(cell, float) and not math.isfinite(cell) else cell


def _json(rows: dict[str, Any]) -> str:
    return json.dumps(rows, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


# --- who is answered ----------------------------------------------------------------------------------------


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    request_queue_size = (
        256  # connections that wait for their turn; with the usual 5, some of 200 at once are dropped
    )
    allow_reuse_address = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that closes its side early is not worth a traceback."""


class _Handler(BaseHTTPRequestHandler):
    server_version, sys_version = "swarm-flyby", ""
    timeout = _TIMEOUT_S

    def __init__(self, *arguments: Any, folder: Path) -> None:
        self.folder = folder
        super().__init__(*arguments)

    def do_GET(self) -> None:
        self._reply(with_content=True)

    def do_HEAD(self) -> None:
        self._reply(with_content=False)

    def _reply(self, *, with_content: bool) -> None:
        status = HTTPStatus.OK
        more: dict[str, str] = {}
        try:
            self._require_own_host()
            kind, content, more = answer(self.folder, self.path)
        except Refused as refused:
            kind, status, content = "text/plain; charset=utf-8", refused.status, f"{refused.said}\n".encode()
        except (InputError, OSError) as problem:
            status = HTTPStatus.INTERNAL_SERVER_ERROR
            kind, content = "text/plain; charset=utf-8", f"{problem}\n".encode()
        self.send_response(status)
        headers = {"Content-Type": kind, "Content-Length": str(len(content))}
        for name, value in (headers | _HEADERS | more).items():
            self.send_header(name, value)
        self.end_headers()
        if with_content:
            self.wfile.write(content)

    def _require_own_host(self) -> None:
        """Refuse a request that was meant for another name, wherever that name led to."""
        port = self.connection.getsockname()[1]
        own = {f"{name}:{port}" for name in (ADDRESS, "localhost")}
        if port == HTTP_PORT:  # browsers leave it out
            own |= {ADDRESS, "localhost"}
        named = self.headers.get_all("Host") or []
        if len(named) != 1 or named[0].lower() not in own:
            raise Refused(HTTPStatus.MISDIRECTED_REQUEST, f"only {ADDRESS}:{port} is served here")

    def log_message(self, format: str, *arguments: Any) -> None:
        """Requests are nobody's business."""
