"""What a shop teaches the instrument: its labels, and its own machine's voice.

Everything here is data kept in the logbook and plain functions over it: findings go in, findings
come out, and what was measured stays as it was measured.
"""
