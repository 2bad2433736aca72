"""Chatter listens to a metal-cutting operation and says what the noise is."""

__version__ = "0.1.0"
