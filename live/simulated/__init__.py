"""Simulated wearers and sensors that send real payload bytes."""
