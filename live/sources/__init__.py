"""Where notifications come from: radio, broker, simulation."""
