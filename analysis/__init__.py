"""Numbers: from paired series to a verdict.  numpy and scipy only."""
