"""Which sensor in reach is the planned one, with sightings and times as plain values."""

from __future__ import annotations

from live.sources.bluetooth.finder import Choice, Finder, Sighting
from live.sources.bluetooth.timing import Timing
from replay.plan import PlannedSensor

TIMING = Timing(settle_s=1.0, repin_s=3.0, fresh_s=4.0, twin_s=10.0)
A, B, C = "C0:00:00:00:00:0A", "C0:00:00:00:00:0B", "C0:00:00:00:00:0C"


def sensor(label: str, address: str = "", name: str = "") -> PlannedSensor:
    """A planned sensor."""
    return PlannedSensor(label=label, role="test", address=address, name=name)


def finder(*sensors: PlannedSensor) -> Finder[str]:
    """A finder for these sensors, numbered from 1, all searched from the start."""
    search: Finder[str] = Finder(dict(enumerate(sensors, 1)), TIMING)
    for number in range(1, len(sensors) + 1):
        search.lost(number, 0.0)
    return search


def see(
    search: Finder[str], address: str, name: str = "Strap", now_s: float = 0.0, adapter: str = ""
) -> list[int]:
    """One sighting whose device is its address."""
    return search.see(Sighting(address, name, -60, address, adapter), now_s)


def address_of(choice: Choice[str]) -> str | None:
    """The chosen address."""
    return choice.sightings[0].address if choice.sightings else None


def chosen_by_name(serial: str = "") -> Finder[str]:
    """A finder whose sensor, planned by name, was linked at A until 100 s and is lost."""
    search = finder(sensor("Yarrow", name="Strap"))
    see(search, A)
    see(search, A, now_s=1.5)
    assert address_of(search.choose(1, 1.5)) == A
    search.linked(1)
    assert search.identify(1, A, serial)
    search.lost(1, 101.0, alive_s=100.0)
    return search


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
    """Two bearers of one name: none is taken; the sentence is the same from second to second."""
    search = finder(sensor("Yarrow", name="Strap"))
    see(search, A)
    see(search, B)
    choice = search.choose(1, 2.0)
    assert not choice.sightings
    assert A in choice.advice
    assert B in choice.advice
    search.see(Sighting(A, "Strap", -71, A), 3.0)
    assert search.choose(1, 3.0).advice == choice.advice


def test_the_twin_that_is_left_is_not_taken_for_the_sensor() -> None:
    """Two bearers were in reach and one has left, before either was chosen: the tester decides."""
    search = finder(sensor("Yarrow", name="Strap"))
    for second in range(3):
        see(search, A, now_s=second)
        see(search, B, now_s=second)
    assert "several sensors" in search.choose(1, 2.0).advice
    for second in range(3, 60):
        see(search, B, now_s=second)
        choice = search.choose(1, second)
        assert not choice.sightings
    assert B in choice.advice
    assert "connect again" in choice.advice
    assert search.confirm(1)
    assert address_of(search.choose(1, 59.0)) == B


def test_a_sensor_that_was_switched_on_under_a_new_address_is_no_twin_of_itself() -> None:
    """The old address is not heard beside the new one: once it is past, the new one is taken."""
    search = finder(sensor("Yarrow", name="Strap"))
    see(search, A, now_s=0.5)
    for second in range(2, 14):
        see(search, B, now_s=second)
        choice = search.choose(1, second)
    assert address_of(choice) == B


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
    search = chosen_by_name()
    see(search, B, now_s=102.0)
    see(search, A, now_s=102.1)
    assert address_of(search.choose(1, 102.1)) == A
    assert B in search.twin_of(1, 102.1)


def test_a_twin_of_a_linked_sensor_is_told_with_both_addresses() -> None:
    """A namesake seen while the chosen sensor is linked, and so silent, names both."""
    search = finder(sensor("Yarrow", name="Strap"))
    see(search, A)
    search.choose(1, 2.0)
    search.linked(1)
    assert search.twin_of(1, 2.0) == ""
    see(search, B, now_s=60.0)
    assert A in search.twin_of(1, 60.0)
    assert B in search.twin_of(1, 60.0)


def test_a_namesake_that_was_beside_the_sensor_is_never_taken() -> None:
    """Seen once while the chosen sensor was there, it is another, however long that is away."""
    search = finder(sensor("Yarrow", name="Strap"))
    see(search, A)
    see(search, A, now_s=1.5)
    search.choose(1, 1.5)
    search.linked(1)
    search.identify(1, A, "0417")
    see(search, B, now_s=50.0)  # somebody else is searched for meanwhile
    search.lost(1, 101.0, alive_s=100.0)
    for now_s in (102.0, 140.0, 4000.0):
        see(search, B, now_s=now_s)
        assert not search.choose(1, now_s).sightings
        assert search.suggestion(1, now_s) == ""


def test_without_a_serial_number_a_new_address_is_suggested_and_not_taken() -> None:
    """What cannot be proved is the tester's decision; until it is made, nothing is linked."""
    search = chosen_by_name()
    see(search, B, now_s=110.0)
    assert not search.choose(1, 200.0).sightings
    see(search, B, now_s=200.0)
    assert not search.choose(1, 200.0).sightings
    told = search.suggestion(1, 200.0)
    assert A in told
    assert B in told
    assert "several" not in told + search.twin_of(1, 200.0)
    assert search.confirm(1)
    see(search, B, now_s=201.0)
    assert address_of(search.choose(1, 201.0)) == B
    assert not search.needs_proof(1, B)


def test_a_new_address_is_taken_where_the_serial_number_is_the_same() -> None:
    """A sensor that draws addresses is asked for its serial number and recognised by it."""
    search = chosen_by_name("0417")
    see(search, B, now_s=102.0)
    assert not search.choose(1, 102.0).sightings  # its old address may be about to be seen
    see(search, B, now_s=105.0)
    assert address_of(search.choose(1, 105.0)) == B
    assert search.needs_proof(1, B)
    assert search.identify(1, B, "0417")
    search.lost(1, 120.0, alive_s=119.0)
    see(search, B, now_s=121.0)
    assert address_of(search.choose(1, 121.0)) == B


def test_a_stranger_is_asked_once_and_left_alone() -> None:
    """Another serial number, or none, makes it another sensor for good."""
    for serial in ("0418", ""):
        search = chosen_by_name("0417")
        see(search, B, now_s=105.0)
        assert address_of(search.choose(1, 105.0)) == B
        assert not search.identify(1, B, serial)
        see(search, B, now_s=106.0)
        assert not search.choose(1, 106.0).sightings
        see(search, A, now_s=107.0)
        assert address_of(search.choose(1, 107.0)) == A


def test_the_serial_number_is_checked_under_the_same_address_too() -> None:
    """An address that shows another serial number than before is not the sensor."""
    search = chosen_by_name("0417")
    assert search.needs_proof(1, A)
    assert not search.identify(1, A, "0999")
    assert search.identify(1, A, "0417")
    assert search.identify(1, A, "")  # it could not be read this time: the address stands


def test_a_planned_address_that_changed_is_suggested_by_name() -> None:
    """A sensor planned by address is not searched in vain while its name is in sight elsewhere."""
    search = finder(sensor("Yarrow", A, name="Strap"), sensor("Sorrel", C))
    see(search, C, name="Strap", now_s=19.0)  # the other row's
    assert search.suggestion(1, 20.0) == ""
    see(search, B, now_s=19.5)
    assert B in search.suggestion(1, 20.0)
    assert not search.choose(1, 20.0).sightings


def test_two_namesakes_of_a_lost_sensor_are_not_guessed_at() -> None:
    """Where two could be the one that changed its address, none is asked or suggested."""
    search = chosen_by_name("0417")
    see(search, B, now_s=105.0)
    see(search, C, now_s=105.0)
    assert not search.choose(1, 105.0).sightings
    assert search.suggestion(1, 105.0) == ""


def test_what_was_seen_before_the_search_is_not_chosen() -> None:
    """A sighting from before the link broke, or an old one, says nothing of now."""
    search = finder(sensor("Yarrow", A))
    see(search, A, now_s=5.0)
    search.lost(1, 6.0, alive_s=6.0)
    assert address_of(search.choose(1, 6.0)) is None
    see(search, A, now_s=7.0)
    assert address_of(search.choose(1, 8.0)) == A
    assert address_of(search.choose(1, 11.5)) is None


def test_a_sensor_is_known_to_be_away_for_an_hour_and_back() -> None:
    """After an hour without a sighting the first one decides."""
    search = chosen_by_name("0417")
    for minute in range(60):
        assert not search.choose(1, 101.0 + 60 * minute).sightings
    see(search, A, now_s=3700.0)
    assert address_of(search.choose(1, 3700.0)) == A


def test_every_adapter_that_hears_a_sensor_is_listed_the_newest_first() -> None:
    """The radio picks one of them by room."""
    search = finder(sensor("Yarrow", A))
    see(search, A, now_s=1.0, adapter="hci1")
    see(search, A, now_s=2.0, adapter="hci0")
    assert [s.adapter for s in search.choose(1, 2.5).sightings] == ["hci0", "hci1"]


def test_strangers_concern_nobody() -> None:
    """An unplanned sensor is no candidate."""
    search = finder(sensor("Yarrow", A), sensor("Sorrel", name="Band"))
    assert see(search, B) == []
