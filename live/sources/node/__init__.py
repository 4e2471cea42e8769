"""Sensors that another computer listens to: the node, its words over MQTT, and its clock."""
