"""Photos without what they tell besides the picture: place, time, owner, camera, thumbnails, hidden recordings.

The pixels are not touched, byte for byte: the parts of a file are gone through and only those are kept that the
picture needs. Which way up it is stays, as the one tag of a block of its own.

Formats: ITU-T T.81 (1992) annex B and JFIF 1.02 for JPEG; ISO/IEC 15948 (W3C PNG, third edition) for PNG; RFC 9649
for WebP; Exif 2.3 (CIPA DC-008, 4.6.2 and tag 274) for which way up.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

from setwright.errors import FileFormatError

MOST_BYTES = 100_000_000
MOST_PIXELS = 200_000_000
_SOF = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_ALONE = frozenset((0x01, *range(0xD0, 0xD8)))  # markers without a segment
_APP0, _APP1, _APP2, _APP14, _APP15, _COM, _SOS, _EOI = 0xE0, 0xE1, 0xE2, 0xEE, 0xEF, 0xFE, 0xDA, 0xD9
_JFIF = 14  # bytes before its thumbnail
_EXIF = b"Exif\0\0"
_UP = 274  # the tag that tells which way up
_PNG_KEPT = frozenset((
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB", b"cICP", b"bKGD", b"hIST",
    b"pHYs", b"sPLT", b"acTL", b"fcTL", b"fdAT",
))  # fmt: skip
_WEBP_KEPT = frozenset((b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF", b"ICCP"))
_WEBP_EXIF, _WEBP_XMP = 0x08, 0x04  # flags of VP8X


class _BrokenError(Exception):
    """The file ends too early, or a part of it is not what it must be."""


def without_metadata(media: str, raw: bytes, name: str) -> bytes:
    """A photo as it is kept.

    Args:
        media: "image/jpeg", "image/png" or "image/webp".
        raw: the bytes of the file.
        name: for messages.
    Returns: the bytes of the same picture; the same bytes where there was nothing to take out.
    Raises: FileFormatError for a file that is damaged, cut off or too large.
    """
    if len(raw) > MOST_BYTES:
        raise FileFormatError(f"{name} has more than {MOST_BYTES} bytes; make the photo smaller.")
    taken = {"image/jpeg": _jpeg, "image/png": _png, "image/webp": _webp}[media]
    try:
        parts, size = taken(raw)
    except (_BrokenError, struct.error, IndexError):
        raise FileFormatError(
            f"{name} is cut off or damaged, a part of the picture is missing; copy it again from where it came."
        ) from None
    if not 0 < size[0] * size[1] <= MOST_PIXELS:
        raise FileFormatError(
            f"{name} is {size[0]} by {size[1]} pixels; up to {MOST_PIXELS} are kept, make the photo smaller."
        )
    return b"".join(parts)


Taken = tuple[list[bytes], tuple[int, int]]


def _jpeg(raw: bytes) -> Taken:
    """Segments by their markers; what follows the end of the picture is left behind."""
    parts, size, scans, turned = [raw[:2]], (0, 0), 0, False
    for marker, whole, body in _segments(raw):
        if marker in _SOF:
            size = struct.unpack_from(">HH", body, 1)[::-1]
        scans += marker == _SOS
        if marker == _APP0 and body.startswith(b"JFIF\0"):
            parts.append(whole if len(body) == _JFIF else _segment(_APP0, body[: _JFIF - 2] + b"\0\0"))
        elif marker == _APP1 and body.startswith(_EXIF) and not turned:
            turned = (up := _orientation(body[len(_EXIF) :])) != 1
            parts += [_segment(_APP1, _EXIF + _tag_alone(up))] if turned else []
        elif (not _APP0 <= marker <= _APP15 and marker != _COM) or _needed(marker, body):
            parts.append(whole)
    if not scans or size == (0, 0):
        raise _BrokenError
    return parts, size


def _needed(marker: int, body: bytes) -> bool:
    """Whether colours would be wrong without an application's segment."""
    return (marker, body[:12]) == (_APP2, b"ICC_PROFILE\0") or (marker == _APP14 and body.startswith(b"Adobe"))


def _segment(marker: int, body: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(body) + 2) + body


def _segments(raw: bytes) -> Iterator[tuple[int, bytes, bytes]]:
    """Marker, all bytes of the segment (of a scan with its data), and its body, up to the end of the picture."""
    at = 2
    while True:
        begin = at
        if raw[at] != 0xFF:
            raise _BrokenError
        while raw[at] == 0xFF:
            at += 1
        marker = raw[at]
        at += 1
        if marker in _ALONE or marker == 0:
            raise _BrokenError
        if marker == _EOI:
            yield marker, b"\xff\xd9", b""
            return
        length = struct.unpack_from(">H", raw, at)[0]
        body = raw[at + 2 : at + length]
        if length < 2 or len(body) != length - 2:
            raise _BrokenError
        at += length
        if marker == _SOS:
            at = _end_of_scan(raw, at)
        yield marker, raw[begin:at], body


def _end_of_scan(raw: bytes, at: int) -> int:
    """Where the next marker is that is neither a stuffed byte nor a restart."""
    while True:
        at = raw.find(b"\xff", at)
        if at < 0:
            raise _BrokenError
        after = raw[at + 1]
        if after not in (0x00, 0xFF) and not 0xD0 <= after <= 0xD7:
            return at
        at += 1 if after == 0xFF else 2


def _orientation(tiff: bytes) -> int:
    """Which way up, 1 to 8; 1, as it stands, where nothing readable is said."""
    order = {b"MM": ">", b"II": "<"}.get(tiff[:2])
    try:
        if order is None or struct.unpack_from(f"{order}H", tiff, 2)[0] != 42:
            return 1
        at = struct.unpack_from(f"{order}I", tiff, 4)[0]
        count = struct.unpack_from(f"{order}H", tiff, at)[0]
        for i in range(count):
            tag, kind, many, value = struct.unpack_from(f"{order}HHIH", tiff, at + 2 + 12 * i)
            if tag == _UP:
                return value if (kind, many) == (3, 1) and 1 <= value <= 8 else 1
    except struct.error:
        pass
    return 1


def _tag_alone(up: int) -> bytes:
    """A block with the one tag that tells which way up."""
    return b"MM\0*" + struct.pack(">IHHHIHHI", 8, 1, _UP, 3, 1, up, 0, 0)


def _png(raw: bytes) -> Taken:
    """Chunks by their names, each against its checksum."""
    parts, size, data, at = [raw[:8]], (0, 0), False, 8
    while True:
        length, kind = struct.unpack_from(">I4s", raw, at)
        body, whole = raw[at + 8 : at + 8 + length], raw[at : at + 12 + length]
        if len(whole) != length + 12 or zlib.crc32(kind + body) != struct.unpack_from(">I", whole, length + 8)[0]:
            raise _BrokenError
        if (kind == b"IHDR") != (at == 8):
            raise _BrokenError
        at += length + 12
        if kind == b"IHDR":
            size = struct.unpack_from(">II", body)
        data = data or kind == b"IDAT"
        if kind in _PNG_KEPT:
            parts.append(whole)
        elif kind == b"eXIf" and (up := _orientation(body)) != 1:
            tag = kind + _tag_alone(up)
            parts.append(struct.pack(">I", len(tag) - 4) + tag + struct.pack(">I", zlib.crc32(tag)))
        if kind == b"IEND":
            if not data:
                raise _BrokenError
            return parts, size


def _webp(raw: bytes) -> Taken:
    """Chunks of the RIFF container."""
    end = 8 + struct.unpack_from("<I", raw, 4)[0]
    if end > len(raw) or end < 20:
        raise _BrokenError
    kept: list[tuple[bytes, bytes]] = []
    at = 12
    while at + 8 <= end:
        kind, length = struct.unpack_from("<4sI", raw, at)
        body = raw[at + 8 : at + 8 + length]
        if at + 8 + length > end:
            raise _BrokenError
        if kind in _WEBP_KEPT:
            kept.append((kind, body))
        elif kind == b"EXIF" and (up := _orientation(body.removeprefix(_EXIF))) != 1:
            kept.append((kind, _tag_alone(up)))
        at += 8 + length + length % 2
    names = [kind for kind, _ in kept]
    if not {b"VP8 ", b"VP8L", b"ANMF"} & set(names):
        raise _BrokenError
    size = _webp_size(*kept[0])
    if names[0] == b"VP8X":
        flags = kept[0][1][0] & ~(_WEBP_EXIF | _WEBP_XMP) | (_WEBP_EXIF if b"EXIF" in names else 0)
        kept[0] = (b"VP8X", bytes([flags]) + kept[0][1][1:])
    chunks = [kind + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2) for kind, body in kept]
    return [b"RIFF" + struct.pack("<I", 4 + sum(map(len, chunks))) + b"WEBP", *chunks], size


def _webp_size(kind: bytes, body: bytes) -> tuple[int, int]:
    """Width and height as the first chunk tells."""
    if kind == b"VP8X":
        return 1 + int.from_bytes(body[4:7], "little"), 1 + int.from_bytes(body[7:10], "little")
    if kind == b"VP8L":
        bits = struct.unpack_from("<I", body, 1)[0]
        return 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
    if kind != b"VP8 ":
        raise _BrokenError
    width, height = struct.unpack_from("<HH", body, 6)
    return width & 0x3FFF, height & 0x3FFF
