"""Texts kept verbatim, once, by the SHA-256 of their bytes in UTF-8: instrument files, job files, what is believed."""

from __future__ import annotations

import hashlib
import json
import math

from sqlalchemy import select

from setwright.errors import FileFormatError, InputError
from setwright.frozen import frozen
from setwright.records.edits import edit
from setwright.records.engine import put_once
from setwright.records.rows import Instrument, as_json
from setwright.records.shop import Work
from setwright.records.tables import DOCUMENT

_MOST = 200  # traits


@frozen
class Belief:
    """The traits of an instrument as believed after a visit, as deviations from a prior.

    prior: its name. deviations: (N), in the prior's own standard deviations. covariance: (N, N) of them.
    """

    prior: str
    deviations: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]


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


def believe(work: Work, instrument: Instrument, belief: Belief) -> Instrument:
    """Note what is believed of an instrument now.

    Args:
        work: writing.
        instrument: as it was read.
        belief: the traits.
    Returns: the instrument as kept.
    Raises: InputError for shapes that do not go together or numbers that are none; StaleEditError.
    """
    count = len(belief.deviations)
    numbers = [*belief.deviations, *(one for row in belief.covariance for one in row)]
    if not 0 < count <= _MOST or [len(row) for row in belief.covariance] != [count] * count:
        raise InputError(f"a belief holds 1 to {_MOST} deviations and as many rows of covariance; check it.")
    if not all(math.isfinite(one) for one in numbers):
        raise InputError("a number that is to be believed is not finite; nothing was kept.")
    text = as_json({"deviations": belief.deviations, "covariance": belief.covariance})
    return edit(work, instrument, prior=belief.prior, belief=keep_document(work, text.encode(), "belief"))


def belief_of(work: Work, instrument: Instrument) -> Belief | None:
    """What is believed of an instrument.

    Args:
        work: on the shop.
        instrument: it.
    Returns: the belief, None before anything was learned.
    """
    if instrument.belief is None:
        return None
    read = json.loads(document(work, instrument.belief))
    return Belief(instrument.prior, tuple(read["deviations"]), tuple(tuple(row) for row in read["covariance"]))
