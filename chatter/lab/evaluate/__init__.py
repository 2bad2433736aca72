"""How right the verdicts are: truth-labelled corpora, scores, the fit, and checks of sense.

One command, ``python -m chatter.lab.evaluate``; see its ``--help``.
"""
