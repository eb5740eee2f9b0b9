"""``/health`` and ``/metrics`` over HTTP: routes for whoever serves, and a small server for the collector."""

from __future__ import annotations

import logging
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

import sqlalchemy as sa
import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from collector.clock import ServiceClock, wall_now
from collector.errors import StoreUnavailable, UserError
from collector.health import Health, read_health, unreadable
from collector.metrics import CONTENT_TYPE, metrics_text
from collector.settings import Settings
from collector.store.database import read

log = logging.getLogger("evenrun.web")

UNAVAILABLE = 503  # RFC 9110, section 15.6.4
NEVER_KEEP = {"cache-control": "no-store"}


def health_routes(
    engine: Callable[[], sa.Engine],
    settings: Callable[[], Settings],
    clock: Callable[[], ServiceClock],
    *,
    own_problem: Callable[[], str | None] = lambda: None,
) -> list[Route]:
    """Routes that tell how the service is.

    Parameters
    ----------
    engine, settings, clock : callable
        Asked at each request, so that a server may start before its store is there.
    own_problem : callable
        What the serving process knows to be wrong and cannot store, such as a store that takes nothing.
    """

    def look() -> tuple[Health, float]:
        began = time.perf_counter()
        try:
            this = clock()
            with read(engine()) as conn:
                found = read_health(conn, settings(), now=this.now(), wall=this.wall())
        except StoreUnavailable as error:
            found = unreadable(error)
        if (problem := own_problem()) is not None:
            found = replace(found, reasons=(problem, *found.reasons))
        return found, time.perf_counter() - began

    def health(_: Request) -> Response:
        found, _took = look()
        return JSONResponse(found.to_json(), 200 if found.ok else UNAVAILABLE, headers=NEVER_KEEP)

    def metrics(_: Request) -> Response:
        found, took_s = look()
        text = metrics_text(found, read_s=took_s, wall=wall_now())
        return Response(text, headers={**NEVER_KEEP, "content-type": CONTENT_TYPE})

    return [Route("/health", health), Route("/metrics", metrics)]


@contextmanager
def serving(host: str, port: int | None, routes: list[Route]) -> Iterator[None]:
    """Serve the routes in a thread while the block runs; not at all without a port.

    Raises
    ------
    UserError
        The port is taken.
    """
    if port is None:
        yield
        return
    try:
        listening = socket.create_server((host, port))
    except OSError as error:
        raise UserError(
            f"{host}:{port} cannot be served on ({error.strerror}); mend collector.http_host or "
            "collector.http_port"
        ) from error
    config = uvicorn.Config(Starlette(routes=routes), log_level="warning", access_log=False, lifespan="off")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, args=([listening],), name="web", daemon=True)
    thread.start()
    log.info("health and metrics: http://%s:%d/health", host, port)
    try:
        yield
    finally:
        server.should_exit = True
        thread.join(timeout=10.0)
        listening.close()
