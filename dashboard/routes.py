"""Addresses of the screens' server that are no pages: health and metrics."""

from __future__ import annotations

from starlette.routing import Route

from collector.web import health_routes
from dashboard.queries import database


def routes() -> list[Route]:
    """Routes for the server to mount before the pages."""
    return health_routes(database.engine, database.settings, database.clock)
