"""The few files a page brings along, read once: their address holds a hash of all, so that browsers keep them."""

from __future__ import annotations

import gzip
import hashlib
from functools import lru_cache
from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from setwright.frozen import frozen

TYPES = {".css": "text/css; charset=utf-8", ".mjs": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}
FOREVER = "public, max-age=31536000, immutable"


@frozen
class Shelf:
    """Files by name: type, bytes, the same packed. version: hash of them all."""

    files: dict[str, tuple[str, bytes, bytes]]
    version: str

    def address(self, name: str) -> str:
        """Where a file is; modules find each other beside it.

        Args:
            name: e.g. "paper.css".
        Returns: its path.
        """
        if name not in self.files:
            raise KeyError(f"there is no file {name} in static/")
        return f"/static/{self.version}/{name}"


def shelf(folder: Path) -> Shelf:
    """All files of a folder that pages may bring along.

    Args:
        folder: static/.
    Returns: the shelf.
    """
    digest = hashlib.sha256()
    files = {}
    for path in sorted(folder.iterdir()):
        if path.suffix in TYPES:
            raw = path.read_bytes()
            digest.update(path.name.encode() + b"\0" + raw + b"\0")
            files[path.name] = (TYPES[path.suffix], raw, _packed(raw))
    return Shelf(files, digest.hexdigest()[:12])


@lru_cache(maxsize=64)
def _packed(raw: bytes) -> bytes:
    return gzip.compress(raw, 9, mtime=0)


async def _static(request: Request) -> Response:
    found: Shelf = request.app.state.bench.shelf
    version, name = request.path_params["version"], request.path_params["name"]
    if name not in found.files:
        return Response(status_code=404)
    kind, raw, packed = found.files[name]
    keep = FOREVER if version == found.version else "no-cache"  # a page of an older run asks for its own version
    headers = {"cache-control": keep, "vary": "accept-encoding"}
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(packed, headers=headers | {"content-encoding": "gzip"}, media_type=kind)
    return Response(raw, headers=headers, media_type=kind)


ROUTES = [Route("/static/{version}/{name}", _static, name="static")]
