"""Warnings said aloud: what is said, one sentence after another, and nothing where no voice is."""

from __future__ import annotations

import array
import shutil
import sys
import time
import wave

import pytest

from analysis.board.snapshot import SensorWarning, Severity, WarningKind
from live.notify.factory import notifier_of
from live.notify.options import DEFAULT_OPTIONS, NotifyOptions
from live.notify.throttle import AlarmCall, Call, CallReason
from live.notify.voice import Voice, platform_voices
from live.protocol.alarm import SILENT
from tests.standins.feeds import PLAN, ScriptedFeed

DRY = SensorWarning(
    number=1,
    kind=WarningKind.NO_CONTACT,
    sensor=1,
    severity=Severity.REFERENCE_FAULT,
    since_s=50,
    start_s=54,
    end_s=None,
    cause="",
    advice="",
)


@pytest.fixture
def said(tmp_path):
    return tmp_path / "said"


def speaking(said, code="open(r'{}', 'a').write(sys.stdin.read() + '|')"):
    program = f"import sys; {code.format(said)}"
    return Voice(PLAN, [(sys.executable, "-c", program)])


def until_said(voice, said, count):
    until = time.monotonic() + 20
    while time.monotonic() < until:
        voice.tend()
        told = said.read_text().split("|")[:-1] if said.exists() else []
        if len(told) >= count:
            return told
        time.sleep(0.02)
    raise AssertionError("not said")


def test_what_to_do_is_said_in_a_few_words(said):
    """At a start and a reminder; the end of a warning is not spoken."""
    voice = speaking(said)
    for reason in CallReason:
        voice.call(Call(reason, DRY))
    voice.call(AlarmCall(CallReason.START, SILENT, 60.0))
    told = until_said(voice, said, 3)
    assert told == ["strap: wet it", "strap: wet it", SILENT.headline.lower()]
    voice.close()


def test_old_news_is_not_said(said):
    """What waits is few: the newest sentences, one after another."""
    voice = speaking(said)
    for number in range(9):
        voice.say(str(number))
    assert until_said(voice, said, 4) == ["0", "6", "7", "8"]
    voice.close()


def test_closing_ends_the_sentence(said):
    """No voice outlives its view."""
    voice = speaking(said, "import time; time.sleep(30)")
    voice.say("x")
    process = voice.process
    assert process is not None
    assert process.poll() is None
    voice.close()
    assert process.poll() is not None
    assert voice.process is None


def test_without_a_voice_one_sentence_says_so(tmp_path):
    """Nothing is started, and the trouble is told once."""
    voice = Voice(PLAN, [(str(tmp_path / "no-such-voice"),)])
    voice.call(Call(CallReason.START, DRY))
    assert "no voice is installed here" in voice.trouble()
    assert voice.trouble() == ""


def test_it_is_off_unless_asked_for():
    """A view speaks only where the user has switched it on."""
    feed = ScriptedFeed([], is_live=False)
    assert notifier_of(feed, DEFAULT_OPTIONS) is None
    notifier = notifier_of(feed, NotifyOptions(voice=True))
    assert notifier is not None
    notifier.close()


@pytest.mark.parametrize(
    ("given", "preferred", "heard"),
    [(None, True, True), (None, False, False), (False, True, False), (None, None, None)],
)
def test_the_command_line_stands_above_the_settings(given, preferred, heard):
    """``--mute`` stays mute whatever the settings say."""
    options = NotifyOptions(sounds=given).preferring(preferred, voice=False)
    assert options.sounds is heard


@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng is not installed")
def test_the_real_voice_makes_sound(tmp_path):
    """What the program speaks with turns the words that it is given into sound that is not silence:
    the command of the platform, here writing to a file in place of a loudspeaker.
    """
    path = tmp_path / "said.wav"
    command = next(one for one in platform_voices() if one[0] == "espeak-ng")
    voice = Voice(PLAN, [(*command, "-w", str(path))])
    voice.say("strap: wet it")
    assert voice.process is not None
    assert voice.process.wait(timeout=20) == 0
    assert voice.trouble() == ""
    voice.close()
    with wave.open(str(path)) as sound:
        samples = array.array("h", sound.readframes(sound.getnframes()))
        seconds = sound.getnframes() / sound.getframerate()
    assert 0.3 < seconds < 10
    assert max(abs(sample) for sample in samples) > 1000
