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


def canonical(value) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def test_an_export_can_be_checked_with_nothing_but_the_written_rule(filled: Store):
    """The rule in the export, followed with `json` and `hashlib` alone."""
    document = json.loads(export_json(filled, JOB))
    previous = "0" * 64
    for entry in document["entries"]:
        assert entry["prev_hash"] == previous
        body, salts = entry["body"], entry["salts"]
        for path in salts.keys() - {""}:
            *way, last = path[1:].split("/")
            place = body
            for key in way:
                place = place[int(key) if isinstance(place, list) else key]
            key = int(last) if isinstance(place, list) else last
            place[key] = {"~sealed": digest(canonical([salts[path], path, place[key]]))}
        assert entry["seal"] == digest(canonical([salts[""], "", body]))
        hashed = {k: entry[k] for k in ("kind", "mono_s", "seal", "seq", "wall")}
        previous = digest(previous + canonical(hashed | {"job": document["job"]}))
        assert entry["hash"] == previous
    assert (document["count"], document["hash"]) == (8, previous)


# --- sealing -------------------------------------------------------------------------------------

BODY = {
    "event": {"input": {"kind": "note", "text": "ask for Robin"}, "heard": "note", "who": "lead"},
    "effects": [{"kind": "noted", "text": "ask for Robin"}, {"kind": "taken", "person": "lead"}],
}


def test_words_and_names_are_sealed_and_roles_and_readings_are_not():
    assert list(chain.private_paths(BODY)) == [
        "/event/heard",
        "/event/input/text",
        "/effects/0/text",
    ]


def test_a_body_with_texts_taken_out_still_has_its_seal():
    salts = chain.new_salts(BODY)
    seal = chain.seal_of(BODY, salts)
    less = chain.without(BODY, salts, ["/event/input/text", "/effects/0/text"])
    left = {path: salts[path] for path in ("", "/event/heard")}
    assert "Robin" not in json.dumps(less)
    assert chain.seal_of(less, left) == seal
    assert chain.readable(less)["event"]["input"]["text"] == chain.REDACTED
    assert (chain.redacted(BODY), chain.redacted(less)) == ("", "texts")


def test_each_text_has_a_salt_of_its_own_so_equal_texts_have_unequal_digests():
    """Who knows one text can't find it elsewhere, nor guess a short one that was taken out."""
    salts = chain.new_salts(BODY)
    less = chain.without(BODY, salts, ["/event/input/text", "/effects/0/text"])
    assert less["event"]["input"]["text"] != less["effects"][0]["text"]
    assert len(set(salts.values())) == len(salts)
    assert all(len(salt) == 32 for salt in salts.values())


def test_a_body_that_looks_as_if_something_was_taken_out_is_refused(store: Store):
    store.create_job(JOB, {}, "")
    with pytest.raises(RecordError, match="marks what was taken out"):
        store.append(JOB, {"event": {"heard": {"~sealed": "0" * 64}}}, wall="", mono_s=0)
    text = {"event": {"heard": 'she said "~sealed"'}}
    assert store.append(JOB, text, wall="", mono_s=0).seq == 2
