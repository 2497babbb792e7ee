"""Whole shops and the data of one owner, out and in, as the bench asks for it: each command one function."""

from __future__ import annotations

from pathlib import Path

from setwright.bench.shop import opened
from setwright.errors import InputError
from setwright.records import exchange, exchange_import, privacy


def export_shop(at: str | None, folder: str) -> exchange.Exported:
    """Write a shop into a folder of JSON Lines and files.

    Args:
        at: folder or URL of the shop.
        folder: new, or empty.
    Returns: what was written.
    Raises: InputError, FileFormatError; nothing is left then.
    """
    with opened(at) as shop:
        return exchange.export(shop, _folder(folder))


def import_shop(folder: str, at: str | None) -> exchange_import.Imported:
    """Read an exported shop into an empty one, or one that is made for it.

    Args:
        folder: that `export_shop` wrote.
        at: folder or URL of the shop.
    Returns: what was read.
    Raises: InputError, FileFormatError; nothing is imported then.
    """
    return exchange_import.import_shop(_folder(folder), at or "")


def export_owner(at: str | None, owner: str, folder: str) -> exchange.Exported:
    """Write all the data of one owner into a folder, in the layout of a whole shop.

    Args:
        at: folder or URL of the shop.
        owner: name, or id.
        folder: new, or empty.
    Returns: what was written.
    Raises: InputError, FileFormatError; nothing is left then.
    """
    with opened(at) as shop:
        return privacy.export_owner(shop, owner, _folder(folder))


def forget_owner(
    at: str | None, owner: str, who: str = "", notes: bool = False, keep_photos: bool = False, really: bool = False
) -> privacy.Forgotten:
    """Delete an owner, or only look what would go.

    Args:
        at: folder or URL of the shop.
        owner: name, or id.
        who: does it.
        notes: the words of all notes of their instruments go too.
        keep_photos: photos and other files stay.
        really: deletes; else nothing is changed.
    Returns: what went, or would go.
    Raises: InputError, FileFormatError; nothing is deleted then.
    """
    with opened(at) as shop:
        return privacy.forget_owner(shop, owner, who, notes, keep_photos, really)


def wipe_shop(at: str | None) -> bool:
    """Overwrite what was deleted in a shop.

    Args:
        at: folder or URL of the shop.
    Returns: whether it could be done; others at work may stand in the way.
    Raises: InputError, FileFormatError.
    """
    with opened(at) as shop:
        return privacy.wipe(shop)


def _folder(name: str) -> Path:
    if not name.strip() or "\0" in name:
        raise InputError("no folder is named; write for instance shop-2026-11-30.")
    return Path(name)
