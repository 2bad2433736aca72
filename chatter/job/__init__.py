"""What the machinist tells us: machine, cutter, cut; validated, from cards and options."""
