"""Recordings made of decaying partials n f sqrt(1 + B n^2) whose pitch is known exactly."""

from __future__ import annotations

import math

import numpy as np
import soundfile

RATE = 8000
STIFF = 1e-4


def string(hertz, seconds=1.6, level=0.3, stiff=STIFF, seed=0):
    t = np.arange(round(seconds * RATE)) / RATE
    phases = np.random.default_rng(seed).uniform(0, 2 * np.pi, 8)
    out = np.zeros(len(t))
    for n, phase in enumerate(phases, start=1):
        at = n * hertz * math.sqrt((1 + stiff * n * n) / (1 + stiff))  # hertz is the first partial
        if at < 0.45 * RATE:
            out += np.sin(2 * np.pi * at * t + phase) / n * np.exp(-t * (1 + 0.2 * n))
    out *= level / np.abs(out).max()
    out[-160:] *= np.linspace(1, 0, 160)
    return out


def recorded(path, sounds, noise=1e-4, seed=1):
    """A take with half a second before every sound; returns its path."""
    gap = np.zeros(RATE // 2)
    samples = np.concatenate([part for sound in sounds for part in (gap, sound)] + [gap])
    samples = samples + noise * np.random.default_rng(seed).standard_normal(len(samples))
    soundfile.write(path, samples, RATE, subtype="FLOAT")
    return path
