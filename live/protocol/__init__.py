"""What the capture process and its views say to each other: frames, run file, feeds."""
