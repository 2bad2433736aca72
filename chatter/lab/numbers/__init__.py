"""How often wrong and missing numbers are noticed, and what the weighing of them is fitted on."""
