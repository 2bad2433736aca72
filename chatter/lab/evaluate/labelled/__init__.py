"""How right the verdicts are on recordings that somebody labelled, any folder of them."""
