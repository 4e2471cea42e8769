"""Before a session: who wears what, whether all of it works, and the plan that comes of it.

Nothing here knows a screen. ``plan_builder`` makes a plan; ``places`` are where sensors are worn;
``known_sensors`` remembers sensors; ``discovered`` is who was heard; ``checks`` judge a rehearsal;
``agreed_commands`` are those of plans that may be run; ``swaps`` tell sensor and side apart over
sessions; ``folder`` looks at the disk; ``subprocesses`` are the helper processes, for no radio is
ever touched by the process that paints.
"""
