"""The pages: one module each, whose ROUTES are joined here."""

from __future__ import annotations

from starlette.routing import BaseRoute

from setwright.web.pages import day, instrument, intake, parts, settings, visit

ROUTES: list[BaseRoute] = [
    *day.ROUTES,
    *instrument.ROUTES,
    *intake.ROUTES,
    *parts.ROUTES,
    *settings.ROUTES,
    *visit.ROUTES,
]
