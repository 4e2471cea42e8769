"""Before a session: who wears what, whether all of it works, and the plan that comes of it.

Nothing here knows a screen.  ``draft`` becomes a plan; ``places`` are where sensors are worn;
``memory`` remembers sensors; ``reach`` is who was heard; ``checks`` judge a rehearsal; ``swaps``
tell sensor and side apart over sessions; ``folder`` looks at the disk; ``children`` are the
helper processes, for no radio is ever touched by the process that paints.
"""
