"""Closed-loop trials: simulate a fault, listen, do what is advised, and listen again."""
