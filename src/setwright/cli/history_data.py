"""Answers of the shop's history as JSON can hold them."""

from __future__ import annotations

from typing import Any

from setwright.bench.history import Studied, place_of
from setwright.cli.shop_words import visit_data
from setwright.records.found_left import Told
from setwright.records.history import Judged, Life, Past, Since
from setwright.records.summaries import Limit


def told(one: Told | None) -> dict[str, Any] | None:
    """A value.

    Args:
        one: it, or None.
    Returns: its SI value and standard uncertainty.
    """
    return None if one is None else {"si": one.si, "standard_uncertainty": one.u}


def life(found: Life) -> dict[str, Any]:
    """An instrument with its visits.

    Args:
        found: it.
    Returns: plain data.
    """
    one = found.instrument
    return {
        "instrument": {name: getattr(one, name) for name in ("id", "name", "maker", "model", "serial", "colour")},
        "owner": None if found.owner is None else {"id": found.owner.id, "name": found.owner.name},
        "visits": [_past(past) for past in found.visits],
    }


def _past(past: Past) -> dict[str, Any]:
    sums = past.sums
    return {
        "visit": visit_data(past.visit), "rounds": sums.rounds, "claw_settings": sums.claw_settings,
        "tunings": sums.tunings, "minutes": sums.minutes, "humidity": sums.humidity,
        "readings": [{**place_of(v.key), "found": told(v.found), "left": told(v.left)} for v in sums.values],
    }  # fmt: skip


def since(found: Since) -> dict[str, Any]:
    """What changed between two visits.

    Args:
        found: it.
    Returns: plain data.
    """
    changes = [
        {
            **place_of(one.key), "before": told(one.before), "now": told(one.now), "change": one.change,
            "standard_uncertainty": one.sd, "seen": one.seen,
        }
        for one in found.changes
    ]  # fmt: skip
    return {
        "before": visit_data(found.before), "now": visit_data(found.now), "changes": changes,
        "only_before": [place_of(one) for one in found.only_before],
        "only_now": [place_of(one) for one in found.only_now],
    }  # fmt: skip


def limit(one: Limit) -> dict[str, Any]:
    """A limit of a specification.

    Args:
        one: it.
    Returns: plain data; null where a side is free.
    """
    place = ("number", "what", "string", "fret", "side", "harmonic", "kind", "nominal")
    ends = {"low": one.tolerance.lower, "high": one.tolerance.upper}
    return {name: getattr(one, name) for name in place} | ends


def judged(one: Judged) -> dict[str, Any]:
    """A reading against its limit.

    Args:
        one: it.
    Returns: plain data.
    """
    return {
        "visit": one.visit, "instrument": one.instrument, "came": one.came,
        "reading": None if one.key is None else place_of(one.key), "left": told(one.left), "limit": limit(one.limit),
        "verdict": one.verdict or "not read",
    }  # fmt: skip


def studied(found: Studied) -> dict[str, Any]:
    """A study of people.

    Args:
        found: it.
    Returns: plain data.
    """
    cells = found.cells
    return {
        "what": cells.what, "kind": cells.kind, "people": cells.people, "trials": found.trials,
        "places": [{"visit": visit, **place_of(key)} for visit, key in cells.places], "readings": cells.values,
        "study": found.study,
    }  # fmt: skip
