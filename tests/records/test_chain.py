"""The chain is the one that is written down: published and derived digests come out."""

from __future__ import annotations

import hashlib
import json

import pytest

from assistant.errors import RecordError
from assistant.records import chain
from assistant.records.log import export_json
from assistant.records.store import Store
from tests.records.pinewharf import JOB

E1 = '{"seq":1,"step":"LOTO-07","value":"0.0 V"}'
E2 = '{"seq":2,"step":"PE-01","value":"0.09 ohm"}'


def test_sha_256_is_the_published_one():
    """FIPS 180-4 example: SHA-256("abc")."""
    assert (
        chain.link("", "abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )


def test_a_chain_of_two_gives_the_worked_digests():
    """Digests worked out by hand (printf | sha256sum) from 64 zeros and the two texts."""
    first = chain.link(chain.FIRST, E1)
    assert first == "dabf62db2de7fa4a64466f6cf1122680b2413cc7795697ade63407b54e472e93"
    assert (
        chain.link(first, E2) == "c46c446740dfc0af1b96046cffd468c5701cce64a8f453d973dbde1653929036"
    )
    assert (
        chain.link(chain.FIRST, E1.replace("0.0", "0.1"))
        == "69ce1e9d0dd9bc9f8f58541b8734ddb85756ea8ecff4a661f1ff41fc2c35ab45"
    )


def test_canonical_text_has_sorted_keys_no_spaces_and_plain_utf_8():
    assert chain.canonical({"b": [1, 2.0], "a": "4 Ω"}) == '{"a":"4 Ω","b":[1,2.0]}'


@pytest.mark.parametrize("value", [float("nan"), float("inf"), "\ud800", {1, 2}, b"x"])
def test_what_json_cannot_carry_is_refused_not_rounded(value):
    with pytest.raises(RecordError, match="can't be written to the record as JSON"):
        chain.canonical({"value": value})


def test_entry_text_is_the_canonical_json_of_all_its_parts():
    body = {"z": 1, "a": "ü"}
    text = chain.entry_text(
        job="d1", seq=3, wall="2025-01-06", mono_s=12, kind="reading", body=chain.canonical(body)
    )
    whole = {"body": body, "job": "d1", "kind": "reading", "mono_s": 12.0, "seq": 3}
    assert text == chain.canonical(whole | {"wall": "2025-01-06"})


def test_an_export_can_be_checked_with_nothing_but_the_written_rule(filled: Store):
    document = json.loads(export_json(filled, JOB))
    previous = "0" * 64
    for entry in document["entries"]:
        assert entry["prev_hash"] == previous
        hashed = {k: entry[k] for k in ("body", "kind", "mono_s", "seq", "wall")}
        hashed["job"] = document["job"]
        text = json.dumps(hashed, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        previous = hashlib.sha256((previous + text).encode()).hexdigest()
        assert entry["hash"] == previous
    assert (document["count"], document["hash"]) == (8, previous)
