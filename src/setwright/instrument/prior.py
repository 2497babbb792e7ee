"""What is known of the traits: a Gaussian over deviations from the nominal instrument, and draws from it."""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import numpy as np

from setwright.errors import InputError
from setwright.frozen import frozen, replace
from setwright.instrument.traits import Array, Traits


@frozen
class Uncertain:
    """One uncertain trait: a field of the traits, or one or all of its elements, off by a factor or an offset."""

    name: str  # unique, e.g. "springs.rate" or "strings.axial[2]"
    label: str  # in the trade's words, e.g. "spring rate"
    path: str  # "group.field" in Traits
    index: int | None  # one element of the trailing axis; None: the whole field moves together
    kind: Literal["factor", "offset"]
    sd: float  # standard uncertainty: of the factor [1], or of the offset in the field's SI unit
    unit: str  # SI unit of the field
    source: str  # where nominal and sd come from: "typed", "catalogue: ..."


@frozen
class Prior:
    """Gaussian over the deviations of `parts`, in their order; all means are 0 before any reading."""

    parts: tuple[Uncertain, ...]
    mean: Array  # (P)
    covariance: Array  # (P, P)

    def index(self, name: str) -> int:
        """Place of a part by name."""
        for i, part in enumerate(self.parts):
            if part.name == name:
                return i
        raise InputError(f"no uncertain trait is called {name!r}; known: {', '.join(p.name for p in self.parts)}")


def prior(parts: tuple[Uncertain, ...]) -> Prior:
    """Prior of independent parts.

    Args:
        parts: the uncertain traits.
    Returns: mean 0, covariance diagonal.
    """
    sd = np.array([part.sd for part in parts])
    return Prior(parts, np.zeros(len(parts)), np.diag(sd * sd))


def draw(known: Prior, count: int, rng: np.random.Generator) -> Array:
    """Deviations drawn from what is known.

    Args:
        known: the Gaussian.
        count: n [1].
        rng: source of randomness.
    Returns: (n, P).
    """
    values, vectors = np.linalg.eigh(known.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    return np.asarray(known.mean + rng.standard_normal((count, len(known.parts))) @ root.T)


def vary(traits: Traits, known: Prior, deviations: Array, wanted: bool = False) -> Traits:
    """Instruments with given deviations from the nominal one.

    Where another set of strings will go on, its deviations are parts called "wanted.*"; they touch the strings of the
    wanted instrument only, and the parts "strings.*" those of the found one only.

    Args:
        traits: the nominal instrument, unbatched.
        known: names the deviations.
        deviations: (P) or (B, P).
        wanted: whether `traits` carries the wanted set.
    Returns: the instruments, with the batch axis of `deviations`.
    """
    deviations = np.asarray(deviations)
    lead, by = deviations.shape[:-1], np.ascontiguousarray(deviations.T)
    factor = 1.0 + by
    changed: dict[str, dict[str, Array]] = {}
    for group, name, touches in _touched(_Parts(known.parts), wanted):
        value = _filled(np.asarray(getattr(getattr(traits, group), name)), lead)
        changed.setdefault(group, {})[name] = value
        for i, index, scaled in touches:
            part = value if index is None else value[..., index]
            row = (factor if scaled else by)[i].reshape((*lead, *(1,) * (part.ndim - len(lead))))
            (np.multiply if scaled else np.add)(part, row, out=part)
    return replace(traits, **{g: replace(getattr(traits, g), **f) for g, f in changed.items()})


class _Parts:
    """Parts told from others by being the same object: comparing them would take longer than what is looked up."""

    def __init__(self, parts: tuple[Uncertain, ...]) -> None:
        self.parts = parts

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Parts) and other.parts is self.parts

    def __hash__(self) -> int:
        return id(self.parts)


@lru_cache(maxsize=64)
def _touched(known: _Parts, wanted: bool) -> tuple[tuple[str, str, tuple[tuple[int, int | None, bool], ...]], ...]:
    """Every field that is touched: group, name, and by which parts: number, element, whether by a factor."""
    another_set = any(part.path.startswith("wanted.") for part in known.parts)
    skip = ("strings." if wanted else "wanted.") if another_set else "wanted."
    found: dict[tuple[str, str], list[tuple[int, int | None, bool]]] = {}
    for i, part in enumerate(known.parts):
        if not part.path.startswith(skip):
            group, name = part.path.replace("wanted.", "strings.").split(".")
            found.setdefault((group, name), []).append((i, part.index, part.kind == "factor"))
    return tuple((group, name, tuple(touches)) for (group, name), touches in found.items())


def _filled(nominal: Array, lead: tuple[int, ...]) -> Array:
    """A copy of the nominal value for every instrument."""
    out: Array = np.empty((*lead, *nominal.shape))
    out[...] = nominal
    return out
