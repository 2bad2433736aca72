"""One thread of linear algebra for all tests, as behind the front doors.

Most tests call the rooms themselves.  On two busy cores a tap test of a ticking clock took
12.8 s of processor time with two threads and 1.6 s with one.
"""

from chatter.threads import one_thread_from_here

one_thread_from_here()  # before any test loads NumPy
