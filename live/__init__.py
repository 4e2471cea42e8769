"""Now: listen, stamp, judge, warn, show."""
