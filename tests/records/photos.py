"""The smallest photos: whole in their parts, with nothing to be taken out, and no picture worth looking at."""

from __future__ import annotations

import struct
import zlib


def _segment(marker: int, body: bytes) -> bytes:
    return bytes((0xFF, marker)) + struct.pack(">H", len(body) + 2) + body


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


JPEG = b"".join((
    b"\xff\xd8", _segment(0xE0, b"JFIF\0\1\2\0\0\1\0\1\0\0"), _segment(0xDB, bytes(65)),
    _segment(0xC0, b"\x08\0\1\0\1\1\1\x11\0"), _segment(0xDA, b"\1\1\0\0\x3f\0"), b"\x12\xff\0\x34", b"\xff\xd9",
))  # fmt: skip
PNG = b"".join((
    b"\x89PNG\r\n\x1a\n", _chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)),
    _chunk(b"IDAT", zlib.compress(b"\0\0")), _chunk(b"IEND", b""),
))  # fmt: skip
