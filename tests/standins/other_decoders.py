"""Decoders of other people, which ours are compared with: read when a test first asks for one.

They are dear to import, and each process that runs tests reads all test modules first.  A module
that asks lists the package in its ``NEEDS``.
"""

from __future__ import annotations

import importlib
import warnings
from functools import cache
from typing import Any

HEART_RATE = "heart_rate_measurement"
CYCLING = "csc_measurement"
RUNNING = "rsc_measurement"
POWER = "cycling_power_measurement"
INDOOR_BIKE = "indoor_bike_data"


def bluetooth_sig(characteristic: str) -> Any:
    """The module of one characteristic in bluetooth-sig."""
    return _module(f"bluetooth_sig.gatt.characteristics.{characteristic}")


def bumble_heart_rate() -> Any:
    """The class of bumble that a Heart Rate Measurement is made with, and read with."""
    return _module("bumble.profiles.heart_rate_service").HeartRateService.HeartRateMeasurement


@cache
def _module(name: str) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what other people deprecate is not ours to fix
        return importlib.import_module(name)
