"""Setwright: the bench companion of a technician who sets up fretted electric instruments."""

__version__ = "0.1.0"
