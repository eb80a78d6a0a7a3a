"""A line that breaks at any moment loses nothing and repeats nothing."""

from __future__ import annotations

import json
import random

from assistant.server.link import KEPT_POSTS, Link
from assistant.server.messages import Error, Level, Pong, Say, State


class Device:
    """What a device keeps of its session: the number of the last post it took."""

    def __init__(self, link: Link):
        self.link, self.last, self.got = link, 0, []
        self.connection = link.connect()
        self.sent = 0

    def receive(self, count: int | None = None) -> None:
        """Take the first `count` frames of what is due; the rest is lost on the way."""
        due = self.link.due(self.connection, self.sent, timeout_s=0)
        assert due is not None
        frames, self.sent = due
        for frame in frames[:count]:
            message = json.loads(frame)
            if message["n"]:
                assert message["n"] > self.last
                self.last = message["n"]
            self.got.append(message)

    def reconnect(self) -> None:
        self.link.disconnect(self.connection)
        self.connection, self.sent = self.link.connect(), self.last


def test_random_breaks_lose_no_reply_and_repeat_none() -> None:
    for seed in range(200):
        chance = random.Random(seed)
        link = Link("d", "lead")
        device = Device(link)
        for number in range(60):
            link.post(Say(str(number)))
            if chance.random() < 0.3:
                link.post(State({"at": number}))
                state = number
            match chance.randrange(5):
                case 0:
                    device.receive(chance.randrange(4))
                    device.reconnect()
                case 1:
                    device.receive()
                case 2:
                    link.acknowledge(device.last)
        device.reconnect()
        device.receive()
        assert [m["text"] for m in device.got if m["type"] == "say"] == list(map(str, range(60)))
        assert [m for m in device.got if m["type"] == "state"][-1]["view"] == {"at": state}


def test_an_input_is_taken_once_and_in_order() -> None:
    link = Link("d", "lead")
    assert [link.take(n) for n in (1, 1, 3, 2, 3, 2)] == [
        "new",
        "again",
        "early",
        "new",
        "new",
        "again",
    ]


def test_the_buffer_is_bounded_and_a_gap_is_told() -> None:
    link = Link("d", "lead")
    for number in range(KEPT_POSTS + 10):
        link.post(Say(str(number)))
    assert link.missed(0)
    assert link.missed(9)
    assert not link.missed(10)
    device = Device(link)
    device.receive()
    assert len(device.got) == KEPT_POSTS


def test_signs_reach_a_present_device_only_and_the_newest_counts() -> None:
    link = Link("d", "lead")
    link.sign(Pong())
    device = Device(link)
    for dbfs in (-50.0, -40.0):
        link.sign(Level(dbfs, False, True))
    link.sign(Error("a", "b"))
    link.sign(Error("c", "d"))
    device.receive()
    assert [(m["type"], m.get("dbfs"), m.get("what")) for m in device.got] == [
        ("level", -40.0, None),
        ("error", None, "a"),
        ("error", None, "c"),
    ]


def test_a_newer_connection_ends_the_older_one() -> None:
    link = Link("d", "lead")
    first = link.connect()
    link.connect()
    assert link.due(first, 0, timeout_s=0) is None
    assert not link.disconnect(first)
    assert link.connected
