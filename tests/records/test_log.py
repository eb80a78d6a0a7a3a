"""Whatever was done to the file, the first entry that doesn't fit is named; exports are safe."""

from __future__ import annotations

import csv
import io
import json
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.clock import SetClock
from assistant.errors import RecordError
from assistant.procedure.effects import Bounds, Judged
from assistant.procedure.inputs import Affirm, Event
from assistant.records import chain
from assistant.records.log import COLUMNS, export_csv, export_json, show, verify
from assistant.records.store import Store
from tests.records.pinewharf import JOB, fill, judged, turn


def tamper(store: Store, *statements: str, given: tuple = ()) -> None:
    """Edit the file as somebody with an SQLite tool would: triggers and checks out of the way."""
    connection = store._conn
    for (name,) in connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    ).fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute("PRAGMA foreign_keys = OFF")
    connection.execute("PRAGMA ignore_check_constraints = ON")
    for statement in statements:
        connection.execute(statement, given)


def test_an_untouched_log_is_whole(filled: Store):
    verdict = verify(filled, JOB)
    assert (verdict.ok, verdict.first_bad_seq, verdict.why, verdict.count) == (True, None, "", 8)
    assert verdict.head_hash == filled.job(JOB)["hash"]


@pytest.mark.parametrize(
    ("statements", "first_bad", "why"),
    [
        (["UPDATE entries SET body = replace(body, '0.2', '0.1') WHERE seq = 3"], 3, "changed"),
        (["UPDATE entries SET body = body || ' ' WHERE seq = 3"], 3, "changed"),
        (["UPDATE entries SET body = 'x' WHERE seq = 3"], 3, "can't be read"),
        (["UPDATE entries SET body = '{\"a\":NaN}' WHERE seq = 3"], 3, "can't be read"),
        (["UPDATE entries SET body = x'ff00' WHERE seq = 3"], 3, "can't be read"),
        (["UPDATE entries SET body = cast(x'22ff22' AS TEXT) WHERE seq = 3"], 3, "changed"),
        (["UPDATE entries SET wall = '2024-01-01' WHERE seq = 5"], 5, "changed"),
        (["UPDATE entries SET mono_s = mono_s + 1 WHERE seq = 5"], 5, "changed"),
        (["UPDATE entries SET mono_s = 'x' WHERE seq = 5"], 5, "changed"),
        (["UPDATE entries SET kind = 'note' WHERE seq = 3"], 3, "kind"),
        (["DELETE FROM entries WHERE seq = 4"], 4, "entry 4 is missing"),
        (["DELETE FROM entries WHERE seq = 1"], 1, "entry 1 is missing"),
        (["DELETE FROM entries WHERE seq = 8"], 8, "entry 8 is missing at the end"),
        (["DELETE FROM entries WHERE seq > 5"], 6, "entries 6 to 8 are missing at the end"),
        (["DELETE FROM entries"], 1, "entries 1 to 8 are missing at the end"),
        (
            [
                "DELETE FROM entries WHERE seq = 4",
                "UPDATE entries SET seq = seq - 1 WHERE seq > 4",
            ],
            4,
            "changed or moved",
        ),
        (
            [
                "UPDATE entries SET seq = 99 WHERE seq = 4",
                "UPDATE entries SET seq = 4 WHERE seq = 5",
                "UPDATE entries SET seq = 5 WHERE seq = 99",
            ],
            4,
            "changed or moved",
        ),
        (["DELETE FROM tips"], 1, "kept length"),
        (["UPDATE tips SET count = 'x'"], 1, "kept length"),
        (["UPDATE tips SET count = 7"], 8, "added outside"),
        (["UPDATE tips SET hash = 'x'"], 8, "not the one that was written last"),
        (["UPDATE jobs SET title = 'Other door'"], 1, "title or start time"),
        (["UPDATE jobs SET started_wall = '2020-01-01'"], 1, "title or start time"),
    ],
)
def test_the_first_entry_that_does_not_fit_is_named(
    filled: Store, statements: list[str], first_bad: int, why: str
):
    tamper(filled, *statements)
    verdict = verify(filled, JOB)
    assert not verdict.ok
    assert verdict.first_bad_seq == first_bad
    assert why in verdict.why


def test_an_entry_rewritten_with_its_own_hash_is_found_at_the_next(filled: Store):
    _rewrite(filled, 3)
    assert (verify(filled, JOB).first_bad_seq, verify(filled, JOB).count) == (4, 3)


def test_the_last_entry_rewritten_with_its_own_hash_is_found(filled: Store):
    _rewrite(filled, 8)
    verdict = verify(filled, JOB)
    assert (verdict.ok, verdict.first_bad_seq) == (False, 8)


def test_a_whole_new_chain_is_found_only_by_the_hash_on_the_signed_report(filled: Store):
    signed = verify(filled, JOB).head_hash[:8]
    assert verify(filled, JOB, anchor=signed.upper()).ok
    _rewrite(filled, 8)
    tamper(filled, "UPDATE tips SET hash = (SELECT hash FROM entries WHERE seq = 8)")
    assert verify(filled, JOB).ok
    verdict = verify(filled, JOB, anchor=signed)
    assert (verdict.ok, verdict.first_bad_seq) == (False, None)
    assert signed in verdict.why
    assert not verify(filled, JOB, anchor="").head_hash.startswith(signed)


def test_a_short_anchor_proves_nothing(filled: Store):
    assert not verify(filled, JOB, anchor=verify(filled, JOB).head_hash[:3]).ok


def test_a_log_that_grew_since_the_report_was_signed_still_has_its_anchor(filled: Store):
    signed = verify(filled, JOB).head_hash[:8]
    filled.append(JOB, turn(), wall="", mono_s=99.0)
    assert verify(filled, JOB, anchor=signed).ok


def test_an_unknown_job_is_an_error(filled: Store):
    with pytest.raises(RecordError, match="no job"):
        verify(filled, "d9")


def _rewrite(store: Store, seq: int) -> None:
    """Change an entry and give it the hash that fits its new text."""
    row = store.rows(JOB)[seq - 1]
    body = turn("affirm", judged("dead.l1-l2", "0.0"))
    salts = chain.new_salts(body)
    seal = chain.seal_of(body, salts)
    text = chain.sealed_text(
        job=JOB, seq=seq, wall=row.wall, mono_s=row.mono_s, kind="affirm", seal=seal
    )
    told = (chain.canonical(body), chain.canonical(salts), seal, chain.link(row.prev_hash, text))
    tamper(
        store,
        "UPDATE entries SET kind = 'affirm', body = ?, salts = ?, seal = ?, hash = ? WHERE seq = ?",
        given=(*told, seq),
    )


ANYTHING = st.one_of(
    st.text(max_size=40),
    st.integers(-(2**62), 2**62),
    st.floats(allow_nan=False),
    st.binary(max_size=70),
)


@given(
    seq=st.integers(1, 8),
    column=st.sampled_from(
        ["wall", "mono_s", "kind", "body", "prev_hash", "hash", "seal", "salts"]
    ),
    value=ANYTHING,
)
def test_any_single_field_changed_to_anything_is_found_where_it_is(seq, column, value):
    with Store.memory() as store:
        fill(store, SetClock())
        before = store.rows(JOB)[seq - 1]
        tamper(store, f"UPDATE entries SET {column} = ? WHERE seq = {seq}", given=(value,))
        verdict = verify(store, JOB)
        if store.rows(JOB)[seq - 1] == before:
            assert verdict.ok
        else:
            assert (verdict.ok, verdict.first_bad_seq) == (False, seq)


@given(seq=st.integers(1, 8), place=st.integers(0, 2000), char=st.characters())
def test_any_single_character_of_a_body_changed_is_found_where_it_is(seq, place, char):
    with Store.memory() as store:
        fill(store, SetClock())
        body = store.rows(JOB)[seq - 1].body
        place %= len(body)
        changed = body[:place] + char + body[place + 1 :]
        tamper(store, f"UPDATE entries SET body = ? WHERE seq = {seq}", given=(changed,))
        verdict = verify(store, JOB)
        assert verdict.ok == (changed == body)
        assert verdict.first_bad_seq == (None if verdict.ok else seq)


@given(order=st.permutations(range(1, 9)), kept=st.integers(0, 8))
def test_any_order_and_any_cut_is_found_at_the_first_that_moved(order, kept):
    """Entry i+1 becomes what was entry order[i]; only the first `kept` stay."""
    with Store.memory() as store:
        fill(store, SetClock())
        tamper(store, "UPDATE entries SET seq = -seq", f"DELETE FROM entries WHERE -seq > {kept}")
        places = [old for old in order if old <= kept]
        for new, old in enumerate(places, start=1):
            store._conn.execute(f"UPDATE entries SET seq = {new} WHERE seq = {-old}")
        verdict = verify(store, JOB)
        moved = [new for new, old in enumerate([*places, None], start=1) if new != old]
        assert verdict.ok == (moved[0] == 9)
        assert verdict.first_bad_seq == (None if verdict.ok else moved[0])


# --- readings and exports ------------------------------------------------------------------------


def test_readings_keep_the_digits_as_said_and_the_calibration_date(filled: Store):
    first = filled.readings(JOB)[0]
    assert first["value"] == "0.2"
    assert first["unit"] == "volt"
    assert (first["si_value"], first["si_unit"]) == (0.2, "V")
    assert (first["who"], first["device"], first["step"]) == (
        "lead",
        "phone-1",
        "measure-dead.l1-l2",
    )
    assert (first["at_least"], first["at_most"], first["verdict"]) == (None, "3.0", "pass")
    assert (first["instrument"], first["calibration_due"]) == ("MM-1", "2026-03-01")
    assert first["heard"] == "affirm"


def test_a_correction_supersedes_and_both_stay(filled: Store):
    rows = [
        (r["seq"], r["name"], r["value"], r["corrects"], r["superseded_by"])
        for r in filled.readings(JOB)
    ]
    assert rows == [
        (3, "dead.l1-l2", "0.2", 0, None),
        (4, "dead.l2-l3", "0.10", 0, 5),
        (5, "dead.l2-l3", "0.30", 1, None),
        (8, "insulation", None, 0, None),
    ]


def test_a_value_measured_again_supersedes_nothing(filled: Store):
    filled.append(JOB, turn("affirm", judged("dead.l1-l2", "0.4")), wall="", mono_s=30)
    assert [r["superseded_by"] for r in filled.readings(JOB) if r["name"] == "dead.l1-l2"] == [
        None,
        None,
    ]


def test_the_machines_own_models_fill_the_readings(store: Store, clock: SetClock):
    """The view reads the fields that effects and events really have."""
    store.create_job(JOB, {}, clock.wall())
    event = Event(input=Affirm(), at_s=1.0, who="helper", device="phone-2", heard="affirm")
    limits = Bounds(at_least=Decimal("432"), unit="volt", source="Supply, 4.1", safety=True)
    effect = Judged(
        step="supply.l1-l2",
        name="supply.l1-l2",
        value=Decimal("462.50"),
        unit="volt",
        said="four six two decimal five zero",
        si_value=462.5,
        si_unit="V",
        bounds=limits,
        verdict="pass",
        instrument="MM-1",
    )
    body = {
        "event": event.model_dump(mode="json"),
        "effects": [effect.model_dump(mode="json")],
        "energy": "energised",
    }
    store.append(JOB, body, wall=clock.wall(), mono_s=1.0)
    (reading,) = store.readings(JOB)
    expected = {"value": "462.50", "at_least": "432", "limit_source": "Supply, 4.1", "safety": 1}
    assert reading.items() >= (expected | {"who": "helper", "si_value": 462.5}).items()


def test_csv_has_a_row_for_each_reading_and_every_column_of_the_view(filled: Store):
    header, *rows = csv.reader(io.StringIO(export_csv(filled, JOB), newline=""))
    assert header == list(COLUMNS.values())
    assert [dict(zip(header, row, strict=True))["value"] for row in rows] == [
        "0.2",
        "0.10",
        "0.30",
        "",
    ]
    assert rows[3][header.index("instead of a value")] == "over-range"
    assert set(filled.readings(JOB)[0]) - set(COLUMNS) == {"job", "mono_s", "safety"}


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=HYPERLINK(1)", "'=HYPERLINK(1)"),
        ("+cmd|' /C calc'!A0", "'+cmd|' /C calc'!A0"),
        ("-2+3", "'-2+3"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("  =1+1", "'  =1+1"),
        ("\t=1+1", "'\t=1+1"),
        ("\r\n=1", "'\r\n=1"),
        ("＝1+1", "'＝1+1"),
        ("-3.20", "-3.20"),
        ("+5", "+5"),
        ("1e-07", "1e-07"),
        ('minus three; volts, "loud"', 'minus three; volts, "loud"'),
    ],
)
def test_csv_text_is_no_formula_and_numbers_stay(filled: Store, text: str, cell: str):
    filled.append(JOB, turn("affirm", judged("x", "1", said=text)), wall="", mono_s=30)
    rows = list(csv.DictReader(io.StringIO(export_csv(filled, JOB), newline="")))
    assert rows[-1]["as said"] == cell


def test_json_holds_the_whole_log(filled: Store):
    document = json.loads(export_json(filled, JOB))
    assert document["format"] == "thirdhand-record/2"
    assert [e["body"] for e in document["entries"]] == [e.body for e in filled.entries(JOB)]


def test_a_damaged_entry_does_not_keep_the_readings_of_the_others_from_the_office(filled: Store):
    tamper(filled, "UPDATE entries SET body = 'x' WHERE seq = 6")
    assert len(filled.readings(JOB)) == 4
    with pytest.raises(RecordError, match=r"entry 6 .* can't be read .*record verify"):
        list(filled.entries(JOB))


def test_show_has_a_line_for_each_entry_and_each_effect(filled: Store):
    lines = list(show(filled, JOB))
    assert lines[0] == "    1  2026-03-02T08:00:00+00:00  Pinewharf Cold Store, D1"
    assert '    3  2026-03-02T08:00:05+00:00  lead voice: affirm "affirm"' in lines
    assert (
        "       dead.l2-l3 = 0.30 volt; pass; limits: at most 3.0 volt; source: dead limit; "
        "instrument MM-1; correction" in lines
    )
    assert "       noted: text cable gland loose, M20, 4 Ω" in lines
    assert any("insulation = over-range" in line for line in lines)


def test_show_lets_nothing_steer_the_terminal(filled: Store):
    filled.append(JOB, turn("note", heard="\x1b[2J\x07 hidden"), wall="", mono_s=30)
    assert all(line.isprintable() for line in show(filled, JOB))
