"""One capture to the numbers of its session: loading, exclusions, notes, and the pipeline."""
