"""The pages: one module each, whose ROUTES are joined here."""

from __future__ import annotations

from starlette.routing import BaseRoute

from setwright.web import day
from setwright.web.pages import (
    access,
    balance,
    benches,
    history,
    instrument,
    intake,
    listening,
    parts,
    plan,
    practice,
    readings,
    settings,
    sheet,
    specifications,
    step,
    visit,
    work,
)

ROUTES: list[BaseRoute] = [
    *access.ROUTES,
    *benches.ROUTES,
    *day.ROUTES,
    *balance.ROUTES,
    *history.ROUTES,
    *instrument.ROUTES,
    *intake.ROUTES,
    *listening.ROUTES,
    *parts.ROUTES,
    *plan.ROUTES,
    *practice.ROUTES,
    *readings.ROUTES,
    *settings.ROUTES,
    *sheet.ROUTES,
    *specifications.ROUTES,
    *step.ROUTES,
    *visit.ROUTES,
    *work.ROUTES,
]
