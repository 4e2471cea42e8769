"""Calls about the recording itself: at once, again and again, until it is known or over."""

from __future__ import annotations

import json
import time

import pytest

from live.notify.message import facts_for
from live.notify.notifier import Notifier
from live.notify.player import Player
from live.notify.sounds import Sound
from live.notify.throttle import ALARM_EVERY_S, AlarmCall, AlarmThrottle, CallReason
from live.protocol.alarm import BEGIN_ANEW, ENDED, SILENCE_S, SILENT, UNSAFE, Alarm
from live.protocol.feed import CaptureStatus, Ended
from live.protocol.view_model import ViewModel
from replay.event import NS_PER_S
from tests.standins.feeds import PLAN, ScriptedFeed, two_sensors
from tests.standins.player import heard_by, player_at

LOST = Alarm(ENDED, "The capture process is gone without a word.", BEGIN_ANEW)
DANGER = Alarm(UNSAFE, "c.sqlite is not there any more.", "Put it back.")


def status(alarm=None, *, in_front=True):
    return CaptureStatus("p", 1, 1, 0.1, 1, in_front=in_front, alarm=alarm)


class Heard:
    """A channel that notes occasions."""

    def __init__(self):
        self.calls = []

    def call(self, call):
        self.calls.append(call)

    def tend(self):
        pass

    def trouble(self):
        return ""

    def close(self):
        pass


def wait_for(found):
    until = time.monotonic() + 30
    while not found() and time.monotonic() < until:
        time.sleep(0.02)


def occasions(calls):
    return [call.reason.value for call in calls]


def test_it_calls_until_it_is_known():
    """A start, one reminder every ALARM_EVERY_S, nothing once it is known, and its end."""
    throttle = AlarmThrottle()
    found = []
    for tenth in range(100):
        known = tenth >= 90
        found += throttle.look(DANGER, is_known=known, at_s=60.0, real_s=tenth / 10)
    assert occasions(found) == ["start", "reminder", "reminder"]
    assert {call.at_s for call in found} == {60.0}
    assert occasions(throttle.look(None, is_known=False, at_s=99.0, real_s=11.0)) == ["end"]
    assert throttle.look(None, is_known=False, at_s=99.0, real_s=12.0) == []


def test_another_alarm_calls_anew():
    """A file in danger that was known, and then the end: one is over, the other begins."""
    throttle = AlarmThrottle()
    throttle.look(DANGER, is_known=False, at_s=5.0, real_s=0.0)
    found = throttle.look(LOST, is_known=False, at_s=9.0, real_s=1.0)
    assert [(c.reason, c.alarm) for c in found] == [
        (CallReason.END, DANGER),
        (CallReason.START, LOST),
    ]


def test_it_goes_on_after_the_end_of_the_stream():
    """The loudest event is the end itself: the notifier calls on while the view shows it."""
    now = [0]
    heard = Heard()
    model = ViewModel(ScriptedFeed([[status(), *two_sensors(5), Ended(5 * NS_PER_S, "x", LOST)]]))
    notifier = Notifier([heard], only_in_front=True, clock=lambda: now[0])
    for _ in range(100):
        model.pump()
        notifier.look(model)
        now[0] += NS_PER_S // 10
    alarms = [call for call in heard.calls if isinstance(call, AlarmCall)]
    assert len(alarms) == 1 + int(9.9 // ALARM_EVERY_S)
    assert model.acknowledge_alarm()
    for _ in range(100):
        now[0] += NS_PER_S // 10
        notifier.look(model)
    assert [call for call in heard.calls if isinstance(call, AlarmCall)] == alarms


def test_the_view_behind_is_silent_about_it_too():
    """Only the newest view is heard; all of them show it."""
    heard = Heard()
    model = ViewModel(ScriptedFeed([[status(DANGER, in_front=False)]]))
    notifier = Notifier([heard], only_in_front=True)
    model.pump()
    notifier.look(model)
    assert heard.calls == []
    assert model.alarm == DANGER


def test_a_calm_end_calls_nobody():
    """Stopped by the tester."""
    heard = Heard()
    model = ViewModel(ScriptedFeed([[status(), Ended(5 * NS_PER_S, "stopped")]]))
    model.pump()
    Notifier([heard]).look(model)
    assert heard.calls == []
    assert not model.acknowledge_alarm()


def test_silence_is_an_alarm_that_ends_with_the_next_word():
    """More than SILENCE_S without a word; acknowledged, it does not come back as news by itself."""
    feed = ScriptedFeed([])
    model = ViewModel(feed)
    feed.silent_s = SILENCE_S
    assert not model.pump()
    feed.silent_s = SILENCE_S + 0.1
    assert model.pump()
    assert model.alarm == SILENT
    assert model.acknowledge_alarm()
    model.pump()
    assert model.alarm_is_known
    feed.silent_s = 0.0
    assert model.pump()
    assert (model.alarm, model.alarm_is_known) == (None, False)


def test_the_siren_cuts_other_sounds_short(tmp_path):
    """It is the graver sound, and is not begun again while it is heard."""
    player = Player([str(player_at(tmp_path / "plays", "time.sleep(30)"))])
    call = AlarmCall(CallReason.START, LOST, 5.0)
    try:
        player.play(Sound.FALL)
        wait_for(lambda: len(heard_by(tmp_path)) == 1)
        player.call(call)
        wait_for(lambda: len(heard_by(tmp_path)) == 2)
        player.call(call)
        assert heard_by(tmp_path) == ["plays fall.wav", "plays siren.wav"]
    finally:
        player.close()


@pytest.mark.parametrize("reason", [CallReason.START, CallReason.END])
def test_its_facts_have_the_keys_of_a_warning(reason):
    """A command or a subscriber reads them without knowing of alarms."""
    facts = facts_for(PLAN, 0)(AlarmCall(reason, LOST, 5.2))
    assert json.loads(json.dumps(facts)) == facts
    assert facts["event"] == reason.value
    assert facts["kind"] == "recording"
    assert facts["severity"] == "session fault"
    assert (facts["since_s"], facts["sensor"]) == (5, None)
    assert facts["cause"] == LOST.sentence
    assert facts["advice"] == BEGIN_ANEW
