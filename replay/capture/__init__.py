"""The capture file: written, read, checked, salvaged."""
