"""Run-in: what a newly bought machine sounded like, and what changes with running hours."""
