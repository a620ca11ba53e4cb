"""Relay hands finished reels from one restoration site to the next, whole."""

__version__ = "0.1.0"
