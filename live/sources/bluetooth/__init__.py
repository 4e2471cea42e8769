"""Standard Bluetooth sensors through bleak.

``BluetoothSource`` serves the sensors of a plan, ``scan`` lists those in reach,
``bluetooth_problem`` says why neither would work.  Importing this package imports bleak, which
is why nothing imports it before it is needed.

    state_machine.py, watchdog.py, finder.py   what follows from what; no radio, no clock
    radio.py    one scanner and one lock for the process
    link.py     one sensor: connect, subscribe, recover
    notifications.py, link_events.py   what comes from it, and what is said of it
    gatt.py     its characteristics by number
    source.py   all sensors of a plan
    scan.py     who is in reach
    errors.py   what bleak reports, in sentences
"""

import logging

from live.sources.bluetooth.adapters import Adapter, list_adapters
from live.sources.bluetooth.bleak_errors import BluetoothUnavailable
from live.sources.bluetooth.scan import FoundSensor, SeenSensor, scan, watch
from live.sources.bluetooth.source import BluetoothSource, bluetooth_problem
from live.sources.bluetooth.timing import Timing

__all__ = [
    "Adapter",
    "BluetoothSource",
    "BluetoothUnavailable",
    "FoundSensor",
    "SeenSensor",
    "Timing",
    "bluetooth_problem",
    "list_adapters",
    "scan",
    "watch",
]

# bleak warns of each lost bus and of a missing version tool: all of it is handled here and told
# in the tester's words.
logging.getLogger("bleak").setLevel(logging.ERROR)
