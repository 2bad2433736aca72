"""Tap test: from a recording of taps on a set-up at rest to its modes."""
