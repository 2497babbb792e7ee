"""The pages: one module each, whose ROUTES are joined here."""

from __future__ import annotations

from starlette.routing import BaseRoute

from setwright.web.pages import day, intake, settings, visit

ROUTES: list[BaseRoute] = [*day.ROUTES, *intake.ROUTES, *settings.ROUTES, *visit.ROUTES]
