"""The page at the bench: drop the recording, read the answer.

A small server for one shop.  ``app.make_app`` puts the routes together, ``guard`` stands
before all of them, ``runner`` listens to each recording in a process of its own, ``spool``
keeps what was uploaded and what was answered.
"""
