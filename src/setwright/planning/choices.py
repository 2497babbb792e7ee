"""The discrete choices: which shim, how many springs, whether the pivots move. Each gets a name and its minutes."""

from __future__ import annotations

from itertools import combinations

from setwright.frozen import frozen
from setwright.planning.targets import Problem, Shim

MINUTES = {"shim": 20.0, "springs": 4.0, "pivots": 4.0, "saddle": 1.0, "claw": 1.0}
THICKEST = 1.6e-3  # m, all strips together; common practice, no source
ALIKE = 0.03e-3  # m, strips of the same thickness


@frozen
class Choice:
    """One branch of the search."""

    shims: tuple[Shim, ...]  # in the pocket at the end
    springs: int
    pivots: bool  # whether the pivots may move

    def minutes(self, problem: Problem) -> float:
        """What the discrete changes cost."""
        found = problem.found
        cost = MINUTES["shim"] if self.shims != found.shims else 0.0
        cost += MINUTES["springs"] if self.springs != int(found.settings.springs.sum()) else 0.0
        return cost + (MINUTES["pivots"] if self.pivots else 0.0)


def choices(problem: Problem) -> list[Choice]:
    """All branches worth solving.

    Args:
        problem: the job.
    Returns: the branches; as found first.
    """
    found = problem.found
    pockets = [found.shims]
    if found.shims:
        pockets.append(())
    pockets += [(*found.shims, shim) for shim in problem.shelf.shims]
    single = [s.thickness for s in problem.shelf.shims if s.kind == "strip"]
    for pair in combinations(problem.shelf.shims, 2):
        total = sum(s.thickness for s in pair)
        alone = any(abs(total - one) < ALIKE for one in single)  # one strip does the same and lies flatter
        if all(s.kind == "strip" for s in pair) and total <= THICKEST and not alone:
            pockets.append((*found.shims, *pair))
    moves: tuple[bool, ...] = (False,)
    now = int(found.settings.springs.sum())
    if problem.traits.bridge.knife_edge:
        counts = sorted(set(problem.shelf.spring_counts) | {now}, key=lambda n: (abs(n - now), n))
        counts = [n for n in counts if n in problem.traits.springs.patterns]
        moves = (False, True)
    else:
        counts = [now]
    if not problem.targets.sets_heights:
        pockets = [found.shims]
    return [Choice(pocket, n, moved) for pocket in dict.fromkeys(pockets) for n in counts for moved in moves]


def shim_totals(shims: tuple[Shim, ...]) -> tuple[float, float, float]:
    """Thickness of strips, tapered and flat shims.

    Args:
        shims: in the pocket.
    Returns: strip, wedge, flat [m].
    """
    strip, wedge, flat = (sum(s.thickness for s in shims if s.kind == kind) for kind in ("strip", "wedge", "flat"))
    return strip, wedge, flat
