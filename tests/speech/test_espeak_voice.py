from __future__ import annotations

import threading

import pytest

from assistant.errors import ModelMissing
from assistant.speech.audio import level_dbfs, read_sound
from assistant.speech.espeak_voice import EspeakVoice, make_speech


@pytest.fixture
def voice(tmp_path) -> EspeakVoice:
    made = EspeakVoice(tmp_path / "cache")
    try:
        made.speak("ready")
    except ModelMissing as error:
        pytest.skip(str(error))
    return made


def test_a_sentence_is_made_once_and_then_kept(voice):
    path = voice.speak("Measure insulation resistance, windings to earth.")
    made = path.stat().st_mtime_ns
    assert voice.speak("Measure insulation resistance, windings to earth.") == path
    assert path.stat().st_mtime_ns == made
    samples = read_sound(path)
    assert 1.5 < len(samples) / 16_000 < 6
    assert level_dbfs(samples) > -40


def test_rate_volume_and_voice_make_other_sounds(voice, tmp_path):
    slow, fast = voice.speak("stop work", 100), voice.speak("stop work", 220)
    assert len(read_sound(slow)) > 1.3 * len(read_sound(fast))
    soft = voice.speak("stop work", 150, 0.3)
    assert level_dbfs(read_sound(soft)) < level_dbfs(read_sound(voice.speak("stop work"))) - 5
    other = EspeakVoice(tmp_path / "cache", "en-gb").speak("stop work")
    assert other != voice.speak("stop work")


def test_many_threads_get_whole_files(voice, tmp_path):
    paths = []
    threads = [
        threading.Thread(target=lambda n=n: paths.append(voice.speak(f"door {n % 3}")))
        for n in range(9)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(paths)) == 3
    assert all(len(read_sound(path)) > 5_000 for path in paths)
    assert not list((tmp_path / "cache").glob("*.part"))


def test_nothing_is_written_on_standard_output(voice, capfd):
    voice.speak("this is new")
    assert capfd.readouterr().out == ""


def test_an_unknown_voice_is_refused(voice):
    with pytest.raises(ModelMissing, match="no voice 'xx-none'"):
        make_speech("ready", "xx-none")


def test_voices_differ(voice):
    american, british, female = (make_speech("ready", v) for v in ("en-us", "en-gb", "en-us+f3"))
    assert len({american.tobytes(), british.tobytes(), female.tobytes()}) == 3
