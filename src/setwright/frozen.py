"""Frozen data: as `dataclasses.dataclass(frozen=True)` makes it, but with methods that all classes share.

A dataclass has half a dozen methods written and compiled for it each time the program starts; for the classes behind
one command that was a fifth of its time. `fields`, `replace` and `asdict` of `dataclasses` work here as there; the
`replace` of this module is quicker.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, FrozenInstanceError, dataclass, field, fields
from typing import Any, NoReturn, TypeVar, cast, dataclass_transform

T = TypeVar("T")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def frozen(cls: type[T]) -> type[T]:
    """Make frozen data of a class of annotated fields.

    Args:
        cls: the class; every field is given to the constructor and counts when two are compared; no slots.
    Returns: the same class.
    """
    cls.__doc__ = cls.__doc__ or cls.__name__  # or `dataclass` works out a signature to stand there
    made: Any = dataclass(init=False, repr=False, eq=False)(cls)
    made.__init__ = _constructor(made)
    made.__setattr__, made.__delattr__ = _not_set, _not_deleted
    made.__eq__, made.__hash__, made.__repr__ = _same, _hash, _written
    return cls


def replace(one: T, /, **changes: Any) -> T:
    """Frozen data with other values in some fields, as `dataclasses.replace` makes it, in a third of the time.

    Args:
        one: the data, of a class made by `frozen`; it stays as it is.
        changes: fields and their new values.
    Returns: the data; what the class checks is checked again.
    Raises: TypeError for a field there is not.
    """
    cls: Any = type(one)
    made: Any = object.__new__(cls)
    old, new, names = one.__dict__, made.__dict__, cls.__match_args__
    for name in names:
        new[name] = old[name]
    new.update(changes)
    if len(new) != len(names):
        raise TypeError(f"{cls.__qualname__} has {', '.join(names)}; given {', '.join(changes)}.")
    if hasattr(cls, "__post_init__"):
        made.__post_init__()
    return cast(T, made)


def _constructor(cls: Any) -> Callable[..., None]:
    """What `__init__` shall be: it takes the fields in their order or by name."""
    names: tuple[str, ...] = cls.__match_args__
    every = frozenset(names)
    usual = {one.name: one.default for one in fields(cls) if one.default is not MISSING}
    fresh = {one.name: one.default_factory for one in fields(cls) if one.default_factory is not MISSING}
    checked = hasattr(cls, "__post_init__")

    def filled(self: Any, *values: Any, **given: Any) -> None:
        count = len(values) + len(given)
        given.update(zip(names, values, strict=False))
        clash = len(given) != count  # too many values, or one given both ways
        if len(given) < len(names):
            given = usual | {name: make() for name, make in fresh.items() if name not in given} | given
        if clash or given.keys() != every:
            raise TypeError(f"{cls.__qualname__} takes {', '.join(names)}; given {values} and {given}.")
        self.__dict__.update(given)
        if checked:
            self.__post_init__()

    return filled


def _values(self: Any) -> tuple[Any, ...]:
    held = self.__dict__
    return tuple([held[name] for name in self.__match_args__])


def _not_set(self: object, name: str, value: object) -> NoReturn:
    raise FrozenInstanceError(f"cannot assign to field {name!r}")


def _not_deleted(self: object, name: str) -> NoReturn:
    raise FrozenInstanceError(f"cannot delete field {name!r}")


def _same(self: object, other: object) -> bool:
    return _values(self) == _values(other) if other.__class__ is self.__class__ else NotImplemented


def _hash(self: object) -> int:
    return hash(_values(self))


def _written(self: Any) -> str:
    shown = ", ".join(f"{name}={getattr(self, name)!r}" for name in self.__match_args__)
    return f"{type(self).__qualname__}({shown})"
