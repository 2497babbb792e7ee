"""Where a job comes from: the path of its file, or a visit in a shop."""

from __future__ import annotations

from setwright.frozen import frozen


@frozen
class InShop:
    """A job that is a visit in a shop. shop: folder or URL; visit: its id, or the end of it."""

    shop: str
    visit: str

    def __str__(self) -> str:
        return f"visit {self.visit}"


Source = str | InShop  # of a job: the path of its file, or a visit
