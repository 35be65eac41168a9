"""``matdb serve``: answers over HTTP for live tools, read-only."""

from __future__ import annotations

import ipaddress
import socket
from typing import Any

from matdb.checks import extra
from matdb.cli.answering import ESTIMATE, FLIGHT
from matdb.cli.options import Place, option
from matdb.cli.screen import show
from matdb.errors import InputError
from matdb.picture.page import field_page
from matdb.picture.page_tables import page_tables
from matdb.units import parse_range

_LEAST_TOKEN = 16


def serve(
    place: Place,
    mounting: str | None = option("NAME", "Show this mounting's page for the field at /."),
    temp: str = option("RANGE", "Temperatures of that page.", "-30C..50C"),
    host: str = option("ADDRESS", "The address to listen at; beyond this computer only with a token.", "127.0.0.1"),
    port: int = option("NUMBER", "The port.", 8765, min=1, max=65535),
    token: str = option("TEXT", "What every request must carry, as bearer or password.", "", envvar="MATDB_TOKEN"),
    origin: str = option("URL", "A web page elsewhere that may ask, such as http://localhost:3000.", ""),
) -> None:
    """Answer live tools over HTTP, read-only.

    Parts, stiffness with bands, complex stiffness, curves, which part to fit under a mounting: /openapi.json says how.
    The newest fits answer as they are; nothing is fitted or written.

    For instance: matdb serve --mounting 'nose camera' --port 8080.
    """
    alone = host == "localhost" or _is_loopback(host)
    if not alone and len(token) < _LEAST_TOKEN:
        allowed = f"at least {_LEAST_TOKEN} characters where --host is not this computer alone"
        raise InputError("--token", token and "a short one", allowed, "put it into MATDB_TOKEN")
    uvicorn, service = (extra(module, "serving", "serve") for module in ("uvicorn", "matdb.service"))
    low_c, high_c = parse_range(temp, "temperature", "--temp")
    with place.existing(as_fitted=True) as store:

        def page() -> str:
            assert mounting is not None
            tables = page_tables(store, mounting, low_c=low_c, high_c=high_c)
            return field_page(tables, cautions=(ESTIMATE, *FLIGHT))

        if mounting is not None:
            store.mounting(mounting)
        more: dict[str, Any] = {"hosts": ("localhost", "127.0.0.1", host) if alone else (), "origin": origin}
        app = service.application(store, page=None if mounting is None else page, token=token, **more)
        # Bound here: the server itself would tell of a taken port in its own words.
        try:
            listening = socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET)
        except OSError as error:
            free = "an address of this computer and a free port"
            raise InputError("--host and --port", f"{host}:{port}", free, error.strerror or "try another") from None
        show(f"answering at http://{host}:{port}/ from {store.records.place.shown}; Ctrl-C ends it", wrap=False)
        told = uvicorn.Config(app, log_level="warning", access_log=False, limit_concurrency=200)
        uvicorn.Server(told).run(sockets=[listening])


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
