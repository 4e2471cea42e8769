"""Standard Bluetooth sensors through bleak."""
