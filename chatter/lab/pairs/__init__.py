"""Pairs of simulated takes: how often compare claims what is not so, and finds what is."""
