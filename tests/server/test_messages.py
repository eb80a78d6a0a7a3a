"""Messages go there and back; whatever else comes is answered with what and what to do."""

from __future__ import annotations

import json
from dataclasses import MISSING, fields
from typing import Any, get_type_hints

import pytest

from assistant.server import messages
from assistant.server.messages import (
    FROM_DEVICE,
    FROM_SERVER,
    SOUND_MAX_BYTES,
    TEXT_MAX_BYTES,
    MessageError,
    checked_sound,
    decode,
    encode,
)

EXAMPLES: dict[Any, Any] = {str: "tag four", int: 3, float: 1.5, bool: True}


def example(kind: type[messages.Message]) -> messages.Message:
    hints = get_type_hints(kind)
    return kind(**{f.name: EXAMPLES.get(hints[f.name], {"held": None}) for f in fields(kind)})


@pytest.mark.parametrize("kinds", [FROM_DEVICE, FROM_SERVER], ids=["device", "server"])
def test_every_message_goes_there_and_back(kinds: dict[str, type[messages.Message]]) -> None:
    for kind in kinds.values():
        assert decode(encode(example(kind), 7), kinds) == (example(kind), 7)


def test_every_message_class_is_listed_in_one_direction() -> None:
    classes = {
        value
        for value in vars(messages).values()
        if isinstance(value, type)
        and issubclass(value, messages.Message)
        and value is not messages.Message
    }
    assert classes == set(FROM_DEVICE.values()) | set(FROM_SERVER.values())
    assert not set(FROM_DEVICE) & set(FROM_SERVER)
    for name, kind in (FROM_DEVICE | FROM_SERVER).items():
        assert name == kind.type
        assert name == name.lower().replace("_", "-")
        assert kind.__doc__, f"{name} says nothing of itself"


def test_a_field_with_a_default_may_be_left_out() -> None:
    hello, _ = decode('{"type": "hello", "n": 0, "device": "d"}')
    for field in fields(hello):
        if field.default is not MISSING:
            assert getattr(hello, field.name) == field.default


WRONG = {
    "no JSON": "affirm",
    "empty": "",
    "a list": "[1]",
    "a number": "12",
    "deep": "[" * 2_000 + "]" * 2_000,
    "no type": '{"n": 1}',
    "unknown type": '{"type": "open-the-gate", "n": 1}',
    "type no text": '{"type": ["touch"], "n": 1}',
    "of the server": '{"type": "welcome", "n": 0}',
    "field missing": '{"type": "touch", "n": 1}',
    "field too many": '{"type": "ping", "n": 0, "extra": 1}',
    "field of wrong kind": '{"type": "touch", "n": 1, "phrase": 12}',
    "yes for a number": '{"type": "ack", "n": 0, "last": true}',
    "number for a yes": '{"type": "talk", "n": 0, "on": 1}',
    "not finite": '{"type": "gate-release", "n": 1, "held_s": Infinity}',
    "no number": '{"type": "gate-release", "n": 1, "held_s": NaN}',
    "number too large": '{"type": "gate-release", "n": 1, "held_s": 1' + "0" * 400 + "}",
    "not numbered": '{"type": "touch", "phrase": "done"}',
    "numbered below zero": '{"type": "touch", "n": -1, "phrase": "done"}',
    "numbered by halves": '{"type": "touch", "n": 1.5, "phrase": "done"}',
    "numbered by yes": '{"type": "touch", "n": true, "phrase": "done"}',
    "text too long": json.dumps({"type": "touch", "n": 1, "phrase": "x" * 201}),
    "frame too long": json.dumps({"type": "typed", "n": 1, "text": "x" * TEXT_MAX_BYTES}),
    "control characters": json.dumps({"type": "typed", "n": 1, "text": "done\x1b[2J"}),
    "half a pair": '{"type": "typed", "n": 1, "text": "\\ud800"}',
}


@pytest.mark.parametrize("text", WRONG.values(), ids=WRONG)
def test_a_wrong_text_frame_is_named_with_what_to_do(text: str) -> None:
    with pytest.raises(MessageError) as caught:
        decode(text)
    assert caught.value.what
    assert caught.value.do
    assert len(encode(messages.Error(caught.value.what, caught.value.do))) < 1_000


@pytest.mark.parametrize("data", [b"", b"\0" * 641, b"\0" * (SOUND_MAX_BYTES + 2)])
def test_a_wrong_sound_frame_is_named_with_what_to_do(data: bytes) -> None:
    with pytest.raises(MessageError):
        checked_sound(data)


def test_a_frame_of_sound_passes_as_it_is() -> None:
    assert checked_sound(b"\1\0" * 640) == b"\1\0" * 640
