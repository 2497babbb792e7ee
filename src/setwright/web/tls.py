"""How the bench speaks TLS: nothing older than 1.2, its own certificate."""

from __future__ import annotations

import ssl

from setwright.bench.network import Certificate
from setwright.errors import FileFormatError


def context(certificate: Certificate) -> ssl.SSLContext:
    """What the server speaks TLS with.

    Args:
        certificate: with its key, as files.
    Returns: the context.
    Raises: FileFormatError where they do not belong together.
    """
    made = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    made.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        made.load_cert_chain(certificate.file, certificate.key)
    except (ssl.SSLError, OSError):
        raise FileFormatError(
            f"{certificate.file} and {certificate.key.name} do not belong together; move both away, new ones are made."
        ) from None
    return made
