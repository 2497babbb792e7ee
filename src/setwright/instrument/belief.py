"""What was learned of an instrument, as data: light to load, since every job may hold it (see `carried`)."""

from __future__ import annotations

from setwright.frozen import frozen


@frozen
class Believed:
    """A trait that was learned. nominal: what file and catalogue said of it [SI], of a field of several elements their
    mean; kind: how it deviates from that; sd: how well it was known then, of the factor [1] or of the offset [SI]."""

    name: str
    kind: str
    nominal: float
    sd: float


@frozen
class Belief:
    """What was believed of an instrument when a visit ended. springs: how many hung there. deviations: (N) from the
    nominal values [1 or SI]; covariance: (N, N) of them."""

    springs: int
    traits: tuple[Believed, ...]
    deviations: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
