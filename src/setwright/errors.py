"""The exceptions of Setwright: one tree. Every message says what was wrong, where, what is allowed and what to do."""

from __future__ import annotations


class SetwrightError(Exception):
    """Root of everything Setwright raises on purpose; `exit_code` is what the command line returns."""

    exit_code = 2


class InputError(SetwrightError):
    """Something typed or read from a file cannot be used as it stands."""


class UnitError(InputError):
    """A number without a unit, with an unknown unit, or one that can be read in two ways."""


class QuestionableError(InputError):
    """A value that is possible but so unlikely that it must be confirmed, with the reason."""


class FileFormatError(InputError):
    """A file that is not what it should be; the message carries the file and the line."""


class StaleEditError(InputError):
    """An edit of something another bench has changed meanwhile; `theirs` and `ours` hold the fields in question."""

    def __init__(self, message: str, theirs: dict[str, object], ours: dict[str, object]) -> None:
        super().__init__(message)
        self.theirs = theirs
        self.ours = ours


class TooOftenError(InputError):
    """Something was tried too often; the message says how long to wait."""


class CalledOffError(SetwrightError):
    """Long work was called off by whoever asked for it; nothing of it is kept."""


class RangeError(SetwrightError, ValueError):
    """A physics function was asked something outside its valid range."""


class ContradictionError(InputError):
    """Readings that cannot all be true of the same instrument."""


class NoPlanError(SetwrightError):
    """No plan exists; the message names the nearest miss and what would have to change.

    `misses` holds the other branches that were tried, nearest first, as pairs of name and reason.
    """

    exit_code = 3

    def __init__(self, message: str, misses: tuple[tuple[str, str], ...] = ()) -> None:
        super().__init__(message)
        self.misses = misses
