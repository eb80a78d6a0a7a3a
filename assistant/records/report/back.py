"""The record's last part: instruments, sign-off, and what this record rests on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from hashlib import sha256

from assistant.records import chain
from assistant.records.entries import Signature
from assistant.records.report import words
from assistant.records.report.facts import Facts
from assistant.records.report.front import CAUTION, unverified
from assistant.records.report.page import BAD, GREY, INK, MARGIN, Line, Sheet
from assistant.records.report.table import Cell, Column, Row, pairs, table
from assistant.records.verify import Verdict

KINDS = {
    "published": "read on a page that states it",
    "from-memory": "from memory, not looked up †",
    "common-practice": "habit of the trade, no source",
}


def instruments(sheet: Sheet, facts: Facts) -> None:
    """Meters and tools of the job, with calibration and what they were used for."""
    listed = [i for i in facts.job.get("instruments") or () if isinstance(i, Mapping)]
    if not listed:
        return
    sheet.heading("Instruments", keep=30)
    rows = []
    for each in listed:
        used = [m for m in facts.measures if m.instrument == each.get("id")]
        stale = [m for m in used if m.out_of_date]
        due = str(each.get("calibration_due") or "")
        state = f"OUT OF DATE for {len(stale)} readings" if stale else ""
        rows.append(
            Row(
                (
                    Cell(str(each.get("id") or ""), bold=True),
                    str(each.get("kind") or ""),
                    Cell(due or "not given", state, bool(stale), BAD if stale else INK),
                    f"{len(used)} readings" if used else "no reading",
                )
            )
        )
    columns = (Column("Id", 24), Column("Kind", 76), Column("Calibrated to", 44))
    table(sheet, (*columns, Column("Used for", 30)), rows)


def sign_off(sheet: Sheet, facts: Facts, names: Mapping[str, str], head_hash: str) -> None:
    """A line to sign for each role and the customer."""
    roles = dict.fromkeys((*(facts.job.get("people") or ("lead",)), *names, "customer"))
    sheet.heading("Sign-off", keep=16 + 19 * len(roles))
    sheet.paragraph(
        "Who signs confirms to have read this record as far as it is theirs. The signed sheet "
        f"belongs to the record whose chain head begins with {head_hash[:8]}."
    )
    for role in roles:
        _line_for(sheet, words.first_up(words.spaced(role)), names.get(role, ""))


def _line_for(sheet: Sheet, role: str, name: str) -> None:
    sheet.need(19)
    widths = (0.34, 0.42, 0.24)
    titles = (f"{role}, name in print", "Signature", "Date")
    x, y = MARGIN, sheet.y + 11.5
    with sheet.tagged("P"):
        for share, title in zip(widths, titles, strict=True):
            end = x + sheet.epw * share - (0 if title == "Date" else 5)
            sheet.set_draw_color(*INK)
            sheet.set_line_width(0.2)
            sheet.line(x, y, end, y)
            sheet.put(x, y + 4.2, Line(sheet.fitting(title, 8.2, end - x), 8.2, False, GREY))
            x += sheet.epw * share
        if name:
            room = sheet.epw * widths[0] - 5
            sheet.put(MARGIN, y - 1.4, Line(sheet.fitting(name, 10, room), 10, False, INK))
    sheet.y = y + 7


def ground(
    sheet: Sheet,
    facts: Facts,
    verdict: Verdict,
    signatures: Iterable[Signature],
    jumps: list[str],
) -> None:
    """Disclaimer, sources, versions with digests, chain head, clock."""
    sheet.heading("What this record rests on", keep=40)
    sheet.paragraph(CAUTION)
    sheet.paragraph(
        "Limits come from the sources named beside them or from the job. "
        + (
            "Values marked † are defaults that nobody has checked against their standard."
            if any(unverified(m) for m in facts.measures)
            else "No value used here is an unverified default."
        )
    )
    _sources(sheet, facts)
    sheet.heading("Software and packs", 2)
    rows = [("Thirdhand", str(facts.head.get("thirdhand") or "–"))]
    rows += [(f"Pack {name}", f"version {version}") for name, version in _packs(facts)]
    pairs(sheet, rows)
    texts = facts.head.get("texts")
    if isinstance(texts, Mapping) and texts:
        digests = [
            Row((name, Cell(sha256(str(text).encode(errors="surrogatepass")).hexdigest())))
            for name, text in sorted(texts.items())
        ]
        columns = (Column("Text kept in the record", 54), Column("SHA-256", 120))
        table(sheet, columns, digests)
    sheet.heading("Chain", 2)
    sheet.paragraph(
        "Each entry carries the SHA-256 of the one before. The head stands for all of them: "
        "with it anybody can show that nothing was changed, removed or added since."
    )
    rule = f"good, {verdict.count} entries fit" if verdict.ok else f"NOT GOOD: {verdict.why}"
    pairs(
        sheet,
        [
            ("Chain head", verdict.head_hash if verdict.count else chain.FIRST),
            ("Check", rule),
            (
                "Taken out since",
                f"texts or files of entries {', '.join(map(str, verdict.redacted))}"
                if verdict.redacted
                else "nothing",
            ),
            *(
                (
                    "Signed by key",
                    f"{each['public_key']}, over entries 1 to {each['count']} (Ed25519)",
                )
                for each in signatures
            ),
            ("To check it again", f"thirdhand record verify {facts.job_id} "
             f"--anchor {verdict.head_hash[:8]}"),
        ],
    )  # fmt: skip
    sheet.heading("Clock", 2)
    for jump in jumps:
        sheet.item(f"{words.first_up(jump)}.")
    if not jumps:
        sheet.paragraph("Wall clock and monotonic time agree from the first entry to the last.")


def _packs(facts: Facts) -> list[tuple[str, str]]:
    pack = facts.plan.pack if facts.plan else None
    parts = getattr(pack, "parts", ())
    if parts:
        return [(part.name, part.version) for part in parts]
    if pack:
        return [(pack.name, pack.version)]
    return [(str(facts.head.get("pack") or "–"), str(facts.head.get("version") or "–"))]


def _sources(sheet: Sheet, facts: Facts) -> None:
    plan = facts.plan
    if plan is None:
        return
    used = {m.step for m in facts.measures} | {a.step for a in facts.answers}
    refs = dict.fromkeys(s.source.ref for s in plan.steps if s.id in used and s.source)
    rows = []
    for ref in refs:
        found = plan.pack.sources.get(ref)
        if found is None:
            continue
        title = f"{found.title}, {found.edition}" if found.edition else found.title
        rows.append(Row((Cell(title), KINDS.get(found.kind, found.kind), found.note or "–")))
    if not rows:
        return
    sheet.heading("Sources", 2)
    columns = (Column("Source", 56), Column("How it is known", 44), Column("Note", 74))
    table(sheet, columns, rows)
