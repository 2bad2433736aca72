"""Run-in: what a newly bought machine sounded like, and what changes with running hours.

::

    from chatter.runin.folder import load_folder
    from chatter.runin.study import study

    log = load_folder("shop")                 # machine.toml and runin.csv
    found = study(log.machine, log.entries)   # a RunIn: survey, trends, parts, hints, steps
    found.parts[0].verdict                    # "worse", "better", "same" or "cannot_tell"

``study`` works on frozen ``entries.Entry`` alone; ``hear=`` gives it sound from elsewhere than
the entries' files, ``hear_cut=`` what a cut was judged as.  ``book.load_book`` makes the same
log from a machine of the logbook.  ``plan.guided_list`` needs no sound at all.
"""
