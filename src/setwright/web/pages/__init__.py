"""The pages: one module each, whose ROUTES are joined here."""

from __future__ import annotations

from starlette.routing import BaseRoute

from setwright.web.pages import day, visit

ROUTES: list[BaseRoute] = [*day.ROUTES, *visit.ROUTES]
