"""Histories: simulated machines that are run in, with what is true of them."""
