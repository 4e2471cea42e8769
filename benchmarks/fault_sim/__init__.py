"""Sessions with faults whose kind, sensor, start and end are known: what the warnings are held to.

Built on the simulated hearts and optical sensors of ``live.simulated``; shares no code, no
constant and no threshold with the warning rules.
"""
