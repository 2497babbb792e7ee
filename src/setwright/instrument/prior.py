"""What is known of the traits: a Gaussian over deviations from the nominal instrument, and draws from it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Literal

import numpy as np

from setwright.errors import InputError
from setwright.frozen import frozen
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
    another_set = any(part.path.startswith("wanted.") for part in known.parts)
    skip = ("strings." if wanted else "wanted.") if another_set else "wanted."
    changed: dict[str, dict[str, Array]] = {}
    for i, part in enumerate(known.parts):
        if part.path.startswith(skip):
            continue
        group, name = part.path.replace("wanted.", "strings.").split(".")
        nominal = np.asarray(getattr(getattr(traits, group), name))
        fields = changed.setdefault(group, {})
        if name not in fields:
            fields[name] = _filled(nominal, deviations.shape[:-1])
        _deviate(fields[name], part, deviations[..., i])
    return replace(traits, **{g: replace(getattr(traits, g), **f) for g, f in changed.items()})


def _filled(nominal: Array, lead: tuple[int, ...]) -> Array:
    """A copy of the nominal value for every instrument."""
    out: Array = np.empty((*lead, *nominal.shape))
    out[...] = nominal
    return out


def _deviate(value: Array, part: Uncertain, by: Array) -> None:
    """Change what one part touches, in place."""
    place: tuple[Any, ...] = (...,)
    if part.index is not None:
        place = (..., part.index)
    else:
        by = np.reshape(by, (*by.shape, *(1,) * (value.ndim - by.ndim)))
    if part.kind == "factor":
        value[place] *= 1.0 + by
    else:
        value[place] += by
