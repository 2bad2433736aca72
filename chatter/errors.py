"""The one family of errors a user can cause.

Every message is one plain sentence: what is wrong, with its value, and what to do
about it.  The edge (command line, page) prints the sentence and leaves with
``exit_code``; nobody above the edge catches these.

::

    ChatterError
    ├── RecordingError      the file cannot be heard (corrupt, empty, no sound, not sound)
    ├── JobError            what the machinist stated cannot be (0 teeth, unknown unit ...)
    ├── CardError           a job or machine file cannot be read
    ├── OutputError         a report or JSON file cannot be written
    └── BookError           the logbook cannot be opened, read or written
"""

from __future__ import annotations


class ChatterError(Exception):
    """Base of all errors that a user can cause and a sentence can explain."""

    exit_code = 2


class RecordingError(ChatterError):
    """The file cannot be heard."""


class JobError(ChatterError):
    """A stated value cannot be."""


class CardError(JobError):
    """A job or machine file cannot be read."""


class OutputError(ChatterError):
    """A result cannot be written where it was asked for."""


class BookError(ChatterError):
    """The logbook cannot be opened, read or written."""
