from __future__ import annotations

import struct

import numpy as np
import pytest

from assistant.errors import ModelMissing
from assistant.speech.features import log_mel, mel_filters
from assistant.speech.recogniser import Expected
from assistant.speech.spelling import Pieces, Spelling
from assistant.speech.templates import Grammar
from assistant.speech.whisper_decoder import (
    COMMON,
    END,
    NO_SPEECH,
    NO_TIMESTAMPS,
    START,
    Decoder,
    read_weights,
)
from assistant.speech.whisper_engine import check_model
from tests.speech.voices import say


def test_the_decoder_agrees_with_ctranslate2_on_the_likelihood_of_a_text():
    ctranslate2 = pytest.importorskip("ctranslate2")
    folder = check_model()
    model = ctranslate2.models.Whisper(str(folder), compute_type="float32", intra_threads=1)
    mel = log_mel(say("please hand me the screwdriver", "slt"), 500)
    encoded = model.encode(ctranslate2.StorageView.from_array(mel[None]), to_cpu=True)
    text = model.generate(encoded, [[START, NO_TIMESTAMPS]], beam_size=1)[0].sequences_ids[0]
    text = [token for token in text if token < COMMON][:6]
    theirs = model.align(encoded, [START], [text], 500)[0].text_token_probs

    decoding = Decoder(read_weights(folder / "model.bin")).begin(
        np.array(encoded)[0], np.zeros(0, np.int64)
    )
    zero = np.zeros(1, np.int64)
    scores = decoding.scores
    ours = []
    for token in text:
        ours.append(np.exp(scores[0, token]))
        scores = decoding.step(np.array([token]), zero)
    # Ours leaves the rare tokens out of the sum, so it is a little larger.
    assert len(text) >= 4
    assert np.abs(np.array(ours) - np.array(theirs)).max() < 0.1


def test_how_likely_nobody_speaks_is_as_over_all_pieces_within_a_hundredth():
    ctranslate2 = pytest.importorskip("ctranslate2")
    folder = check_model()
    model = ctranslate2.models.Whisper(str(folder), compute_type="float32", intra_threads=1)
    weights = read_weights(folder / "model.bin")
    decoder = Decoder(weights)
    found = []
    noise = np.random.default_rng(1).normal(0, 3000, 32_000).astype(np.int16)
    for sound in (noise, say("please hand me the screwdriver", "slt")):
        mel = ctranslate2.StorageView.from_array(log_mel(sound, 500)[None])
        decoding = decoder.begin(np.array(model.encode(mel, to_cpu=True))[0], np.zeros(0, np.int64))
        logits = (decoding._hidden @ weights["embeddings/weight"].T)[0]
        odds = np.exp(logits - logits.max())
        assert decoding.no_speech == pytest.approx(odds[NO_SPEECH] / odds.sum(), abs=0.01)
        found.append(decoding.no_speech)
    assert found[0] > 0.6 > found[1]


def test_a_file_that_is_no_model_is_refused(tmp_path):
    path = tmp_path / "model.bin"
    path.write_bytes(b"\x06\0\0\0\x05\0Test\0\x01\0\0\0\0\0\0\0")
    with pytest.raises(ModelMissing, match="WhisperSpec"):
        read_weights(path)
    path.write_bytes(b"\x06")
    with pytest.raises(ModelMissing, match="can't be read"):
        read_weights(path)


def test_mel_filters_cover_the_band_and_features_stay_in_range():
    filters = mel_filters()
    assert filters.shape == (80, 201)
    assert (filters.sum(axis=1) > 0).all()
    features = log_mel(np.random.default_rng(1).integers(-3000, 3000, 16_000, np.int16), 500)
    assert features.shape == (80, 500)
    assert features.max() - features.min() <= 2.0 + 1e-6


@pytest.fixture(scope="module")
def pieces() -> Pieces:
    letters = [chr(c) for c in range(33, 127)]
    return Pieces([" ", *letters, *(f" {c}" for c in letters)])


@pytest.mark.parametrize(
    ("written", "words"),
    [
        (" 462.5 V.", "four six two point five volts"),
        (" Four six two", "four six two"),
        (" 4-6-2.", "four six two"),
        (" 4, 6, 2", "four six two"),
        (" Done.", "done"),
        (" 1 1/2", "one one half"),
        (" Lockout confirmed, 47.", "lockout confirmed four seven"),
        (" A firm!", "affirm"),
        (" point five", "point five"),
        (" .5", "point five"),
        (" 4.", "four"),
    ],
)
def test_written_forms_spell_the_words_of_the_grammar(pieces, written, words):
    expected = Expected(("{value}", "done", "affirm", "lockout confirmed {digits:2}"), ("volts",))
    assert _walk(Spelling(Grammar(expected), pieces, END), pieces, written) == words


@pytest.mark.parametrize("written", [" Don", " 4.6.2", " lockout confirmed 4", " volts", " 46x"])
def test_other_written_forms_do_not(pieces, written):
    expected = Expected(("{value}", "done", "affirm", "lockout confirmed {digits:2}"), ("volts",))
    assert _walk(Spelling(Grammar(expected), pieces, END), pieces, written) is None


def _walk(spelling: Spelling, pieces: Pieces, written: str) -> str | None:
    """The words that the letters spell, or None."""
    places = [spelling.start()]
    chunks = [written[:2], *written[2:].replace(" ", "\0 ").split("\0")]
    chunks = [c for chunk in chunks for c in _pieces_of(chunk)]
    for chunk in chunks:
        following = []
        for place in places:
            node = pieces.root
            for letter in chunk.lower():
                node = node.get(letter, {})
            wanted = set(node.get("", ()))
            numbers, after = spelling.allowed(place)
            following += [
                spelling.join(place, target)
                for number, target in zip(numbers, after, strict=True)
                if number in wanted
            ]
        places = following
    ends = [found for place in places if (found := spelling.finished(place))]
    return " ".join(ends[0][1]) if ends else None


def _pieces_of(chunk: str) -> list[str]:
    """One or two letters at a time: a space goes with the letter after it."""
    if chunk.startswith(" "):
        return [chunk[:2], *chunk[2:]]
    return list(chunk)


def _text(words: str) -> bytes:
    return struct.pack("<H", len(words) + 1) + words.encode() + b"\0"


def _array(name: str, kind: int, array: np.ndarray) -> bytes:
    head = struct.pack(f"<B{array.ndim}I", array.ndim, *array.shape)
    return _text(name) + head + struct.pack("<BI", kind, array.nbytes) + array.tobytes()


def test_weights_in_int8_are_multiplied_out_row_by_row(tmp_path):
    """As `ctranslate2.specs.model_spec` writes them: whole numbers, and a scale for each row."""
    arrays = [
        _array("decoder/a/weight", 1, np.array([[127, -64], [10, 5]], np.int8)),
        _array("decoder/a/weight_scale", 0, np.array([127, 10], np.float32)),
        _array("encoder/b", 0, np.array([3], np.float32)),
    ]
    head = struct.pack("<I", 6) + _text("WhisperSpec") + struct.pack("<II", 3, len(arrays))
    (tmp_path / "model.bin").write_bytes(head + b"".join(arrays))
    found = read_weights(tmp_path / "model.bin")
    assert list(found) == ["a/weight"]
    assert found["a/weight"] == pytest.approx(np.array([[1, -64 / 127], [1, 0.5]]))
    assert set(read_weights(tmp_path / "model.bin", part="")) == {"decoder/a/weight", "encoder/b"}
