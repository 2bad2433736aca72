"""Fit: what the evidence is worth, from recordings by several makers, each left out in turn."""
