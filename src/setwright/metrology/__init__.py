"""A reading: a value with its unit as written, its uncertainty, place, convention and state."""

from __future__ import annotations

from setwright.metrology.conformity import (
    Conformity,
    Tolerance,
    Verdict,
    conformance_probability,
    decide,
    tolerance_about,
)
from setwright.metrology.gauges import GAUGES, Gauge, gauge_named
from setwright.metrology.plausible import QUANTITIES, Quantity, doubt, quantity_named, question
from setwright.metrology.reading import (
    ATTITUDES,
    Convention,
    Place,
    Reading,
    State,
    combined_uncertainty,
    effective_resolution,
    gauge_uncertainty,
    mean_of,
    reading_uncertainty,
    resolution_uncertainty,
    take,
)

__all__ = ["ATTITUDES", "GAUGES", "QUANTITIES", "Conformity", "Convention", "Gauge", "Place", "Quantity", "Reading"]
__all__ += ["State", "Tolerance", "Verdict", "combined_uncertainty", "conformance_probability", "decide", "doubt"]
__all__ += ["effective_resolution", "gauge_named", "mean_of", "quantity_named", "question", "reading_uncertainty"]
__all__ += ["gauge_uncertainty", "resolution_uncertainty", "take", "tolerance_about"]
