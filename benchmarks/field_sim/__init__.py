"""Hearts, sensors and faults drawn to what was measured in the field.

The second of two generators: it shares no code with ``benchmarks.fault_sim`` and was written
without knowledge of the rules that it judges.  ``python -m benchmarks.field_sim --tables`` prints
what it makes beside what was measured.
"""
