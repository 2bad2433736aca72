"""Invented shops that label their cuts: what teaching brings, and what it must not spoil."""
