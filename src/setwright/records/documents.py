"""Texts kept verbatim, once, by the SHA-256 of their bytes in UTF-8: instrument files, job files, what is believed."""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import asdict
from datetime import datetime

from sqlalchemy import select

from setwright.errors import FileFormatError, InputError
from setwright.instrument.belief import Belief, Believed
from setwright.records.engine import put_once
from setwright.records.rows import Visit, as_json
from setwright.records.shop import Work
from setwright.records.tables import DOCUMENT, VISIT

_MOST = 200  # traits
YEAR = 365.25 * 86_400.0  # s


def keep_document(work: Work, raw: bytes, name: str) -> str:
    """Keep a text.

    Args:
        work: writing.
        raw: in UTF-8.
        name: what messages call it.
    Returns: the SHA-256 of its bytes.
    Raises: FileFormatError for what is no text.
    """
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise FileFormatError(f"{name}: this is not text in UTF-8; save the file as UTF-8.")
    sha256 = hashlib.sha256(raw).hexdigest()
    put_once(work.connection, DOCUMENT, {"sha256": sha256, "text": text})
    return sha256


def document(work: Work, sha256: str) -> bytes:
    """The bytes of a text that is kept.

    Args:
        work: on the shop.
        sha256: of its bytes.
    Returns: the bytes.
    Raises: FileFormatError where it is not there.
    """
    text = work.connection.execute(select(DOCUMENT.c.text).where(DOCUMENT.c.sha256 == sha256)).scalar()
    if text is None:
        raise FileFormatError(f"document {sha256[:80]} is missing; run setwright shop check.")
    return str(text).encode()


def keep_belief(work: Work, belief: Belief) -> str:
    """Keep what is believed of an instrument.

    Args:
        work: writing.
        belief: the traits.
    Returns: the SHA-256 of the document.
    Raises: InputError for shapes that do not go together or numbers that are none.
    """
    count = len(belief.traits)
    numbers = [*belief.deviations, *(one for row in belief.covariance for one in row)]
    if not 0 < count <= _MOST or [len(belief.deviations), *map(len, belief.covariance)] != [count] * (
        1 + len(belief.covariance)
    ):
        raise InputError(f"a belief holds 1 to {_MOST} deviations and as many rows of covariance; check it.")
    numbers += [one for trait in belief.traits for one in (trait.nominal, trait.sd)]
    if len(belief.covariance) != count or not all(math.isfinite(one) for one in numbers):
        raise InputError("a number that is to be believed is not finite or missing; nothing was kept.")
    text = as_json({
        "springs": belief.springs,
        "traits": [asdict(one) for one in belief.traits],
        "deviations": belief.deviations,
        "covariance": belief.covariance,
    })  # fmt: skip
    return keep_document(work, text.encode(), "belief")


def belief_from(work: Work, sha256: str) -> Belief:
    """What was believed of an instrument.

    Args:
        work: on the shop.
        sha256: of the document.
    Returns: the belief.
    Raises: FileFormatError where it is missing or none of ours.
    """
    try:
        read = json.loads(document(work, sha256))
        return Belief(
            int(read["springs"]), tuple(Believed(**one) for one in read["traits"]), tuple(read["deviations"]),
            tuple(tuple(row) for row in read["covariance"]),
        )  # fmt: skip
    except (ValueError, KeyError, TypeError):
        raise FileFormatError(
            f"document {sha256[:80]} is no belief; run setwright shop check, or open the visit again and hand it back."
        ) from None


def belief_before(work: Work, visit: Visit) -> tuple[Belief, float] | None:
    """What the last visit before one left of what was learned.

    Args:
        work: on the shop.
        visit: the later one.
    Returns: the belief and how long ago it was [year], None where no earlier visit left one.
    """
    rows = select(VISIT.c.belief, VISIT.c.handed_back).where(
        VISIT.c.instrument == visit.instrument, VISIT.c.number < visit.number, VISIT.c.state == "closed",
        VISIT.c.belief.is_not(None),
    )  # fmt: skip
    last = work.connection.execute(rows.order_by(VISIT.c.number.desc()).limit(1)).one_or_none()
    if last is None:
        return None
    return belief_from(work, last.belief), years_between(last.handed_back, visit.came)


def years_between(before: str | None, now: str) -> float:
    """Years between two times of the tables, whose zones may differ.

    Args:
        before: the earlier one, None where it is not known.
        now: the later one.
    Returns: years, 0 where they cannot be told or are the wrong way round.
    """
    try:
        first, then = (datetime.fromisoformat(one[:19]) for one in (before or "", now))
    except ValueError:
        return 0.0
    return max((then - first).total_seconds() / YEAR, 0.0)
