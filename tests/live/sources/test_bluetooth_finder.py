"""Which sensor in reach is the planned one, with sightings and times as plain values."""

from __future__ import annotations

from live.sources.bluetooth.finder import Choice, Finder, Sighting
from live.sources.bluetooth.timing import Timing
from replay.plan import PlannedSensor

TIMING = Timing(settle_s=1.0, repin_s=30.0)
A, B = "C0:00:00:00:00:0A", "C0:00:00:00:00:0B"


def sensor(label: str, address: str = "", name: str = "") -> PlannedSensor:
    """A planned sensor."""
    return PlannedSensor(label=label, role="test", address=address, name=name)


def finder(*sensors: PlannedSensor) -> Finder[str]:
    """A finder for these sensors, numbered from 1."""
    return Finder(dict(enumerate(sensors, 1)), TIMING)


def see(search: Finder[str], address: str, name: str = "Strap", now_s: float = 0.0) -> list[int]:
    """One sighting whose device is its address."""
    return search.see(Sighting(address, name, -60, address), now_s)


def address_of(choice: Choice[str]) -> str | None:
    """The chosen address."""
    return choice.sighting.address if choice.sighting else None


def test_an_address_decides_at_once_whatever_its_case() -> None:
    """Addresses are compared without regard to case, and need no second look."""
    search = finder(sensor("Yarrow", A.lower()))
    assert see(search, A) == [1]
    assert address_of(search.choose(1, 0.0)) == A


def test_a_name_is_decided_after_a_moment() -> None:
    """A name waits until a twin would have been seen."""
    search = finder(sensor("Yarrow", name="strap"))
    see(search, A, now_s=5.0)
    assert address_of(search.choose(1, 5.9)) is None
    assert address_of(search.choose(1, 6.0)) == A


def test_twins_are_named_and_not_chosen() -> None:
    """Two bearers of one name: none is taken, both addresses are told."""
    search = finder(sensor("Yarrow", name="Strap"))
    see(search, A)
    see(search, B)
    choice = search.choose(1, 2.0)
    assert choice.sighting is None
    assert A in choice.advice
    assert B in choice.advice
    assert "-60 dBm" in choice.advice


def test_a_planned_address_is_nobody_elses_name() -> None:
    """A sensor that another row plans by address is not a candidate for a name."""
    search = finder(sensor("Yarrow", A), sensor("Sorrel", name="Strap"))
    assert see(search, A) == [1]
    assert see(search, B) == [2]
    assert address_of(search.choose(2, 2.0)) == B


def test_one_sensor_is_not_given_to_two_rows() -> None:
    """Of two rows with one name, the second does not get the sensor of the first."""
    search = finder(sensor("Yarrow", name="Strap"), sensor("Sorrel", name="Strap"))
    see(search, A)
    assert address_of(search.choose(1, 2.0)) == A
    assert address_of(search.choose(2, 2.0)) is None


def test_a_sensor_found_by_name_keeps_its_address_among_twins() -> None:
    """Back from a lost link, the address that was chosen before decides at once."""
    search = finder(sensor("Yarrow", name="Strap"))
    see(search, A)
    search.choose(1, 2.0)
    search.begin()
    search.lost(1, 10.0)
    see(search, B, now_s=10.0)
    see(search, A, now_s=10.1)
    assert address_of(search.choose(1, 10.1)) == A
    assert B in search.twin_of(1)


def test_a_twin_of_a_linked_sensor_is_told_with_both_addresses() -> None:
    """A namesake seen while the chosen sensor is linked, and so silent, names both."""
    search = finder(sensor("Yarrow", name="Strap"))
    see(search, A)
    search.choose(1, 2.0)
    assert search.twin_of(1) == ""
    search.begin()
    see(search, B, now_s=60.0)
    assert A in search.twin_of(1)
    assert B in search.twin_of(1)


def test_a_twin_does_not_step_in_for_a_lost_sensor_at_once() -> None:
    """Another bearer of the name is taken only after the first was long away, and told."""
    search = finder(sensor("Yarrow", name="Strap"))
    see(search, A)
    search.choose(1, 2.0)
    search.begin()
    search.lost(1, 10.0)
    see(search, B, now_s=11.0)
    assert address_of(search.choose(1, 39.0)) is None
    choice = search.choose(1, 41.0)
    assert address_of(choice) == B
    assert "another address" in choice.advice


def test_what_an_earlier_search_saw_is_not_chosen() -> None:
    """A new search forgets sightings: the sensor may have gone."""
    search = finder(sensor("Yarrow", A))
    see(search, A)
    search.begin()
    assert address_of(search.choose(1, 5.0)) is None


def test_strangers_concern_nobody() -> None:
    """An unplanned sensor is no candidate."""
    search = finder(sensor("Yarrow", A), sensor("Sorrel", name="Band"))
    assert see(search, B) == []
