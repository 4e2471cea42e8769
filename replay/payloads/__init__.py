"""Payload bytes to readings, sans-IO."""
