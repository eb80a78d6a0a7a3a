"""The tables of the record, as small steps applied in order, each a transaction of its own.

All steps that a file lacks are applied within one more, so a start that is cut off leaves the
file as it was. A released step is never changed: what is new comes as a new function at the end.
Which steps a file has had is kept in the file (`_sqlite_migrations`).
"""

from __future__ import annotations

from sqlite_utils import Database, Migrations

APPLICATION_ID = 0x54484E44  # "THND", in the file's header: tells our file from others

migrations = Migrations("records")


def step_names() -> set[str]:
    """Names of all steps that this version knows."""
    with Database(memory=True, execute_plugins=False) as empty:
        return {step.name for step in migrations.pending(empty)}


@migrations()
def m001_the_log(db: Database) -> None:
    """Jobs, their entries, and how long each chain is.

    `tips` repeats the length and last hash of each chain, so that a tail that was cut off shows.
    """
    db.conn.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    for statement in (
        """
        CREATE TABLE jobs (
            id TEXT PRIMARY KEY NOT NULL,
            title TEXT NOT NULL,
            started_wall TEXT NOT NULL
        )
        """,
        """
        CREATE TABLE entries (
            job TEXT NOT NULL REFERENCES jobs(id),
            seq INTEGER NOT NULL CHECK (seq >= 1),
            wall TEXT NOT NULL,
            mono_s REAL NOT NULL,
            kind TEXT NOT NULL,
            body TEXT NOT NULL CHECK (json_valid(body)),
            prev_hash TEXT NOT NULL CHECK (length(prev_hash) = 64),
            hash TEXT NOT NULL CHECK (length(hash) = 64),
            PRIMARY KEY (job, seq)
        )
        """,
        """
        CREATE TABLE tips (
            job TEXT PRIMARY KEY NOT NULL REFERENCES jobs(id),
            count INTEGER NOT NULL,
            hash TEXT NOT NULL
        )
        """,
    ):
        db.conn.execute(statement)


@migrations()
def m002_append_only(db: Database) -> None:
    """The file itself refuses to change or remove what was recorded, and says why."""
    # Before SQLite 3.47 RAISE takes no expression, so each message is written out.
    for table in ("jobs", "entries", "tips"):
        db.conn.execute(
            f"""
            CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} BEGIN
                SELECT RAISE(ABORT, 'the record is append-only: nothing in it can be removed');
            END
            """
        )
    for table in ("jobs", "entries"):
        db.conn.execute(
            f"""
            CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} BEGIN
                SELECT RAISE(ABORT, 'the record is append-only: append a correction instead');
            END
            """
        )
    db.conn.execute(
        """
        CREATE TRIGGER tips_only_grow BEFORE UPDATE ON tips
        WHEN NEW.job IS NOT OLD.job OR NEW.count IS NOT OLD.count + 1 BEGIN
            SELECT RAISE(ABORT, 'the record is append-only: a chain grows one entry at a time');
        END
        """
    )
    # Also stops INSERT OR REPLACE, which would remove a row without the triggers above.
    db.conn.execute(
        """
        CREATE TRIGGER entries_in_order BEFORE INSERT ON entries
        WHEN NEW.seq IS NOT 1 + (SELECT count FROM tips WHERE job = NEW.job)
            OR NEW.prev_hash IS NOT (SELECT hash FROM tips WHERE job = NEW.job) BEGIN
            SELECT RAISE(ABORT, 'the record is append-only: an entry follows the last one');
        END
        """
    )
    db.conn.execute(
        """
        CREATE TRIGGER tips_follow AFTER INSERT ON entries BEGIN
            UPDATE tips SET count = NEW.seq, hash = NEW.hash WHERE job = NEW.job;
        END
        """
    )


@migrations()
def m003_readings(db: Database) -> None:
    """One row a reading for the office, derived from the entries alone.

    `superseded_by` is the log position of the CORRECTION that replaced a reading. A value that was
    measured again without CORRECTION stays a reading of its own.
    """
    db.conn.execute(
        """
        CREATE VIEW readings AS
        WITH judged AS (
            SELECT e.job, e.seq, e.wall, e.mono_s, e.hash, x.key AS place, x.value AS effect,
                json_extract(e.body, '$.event.who') AS who,
                json_extract(e.body, '$.event.device') AS device,
                json_extract(e.body, '$.event.heard') AS heard,
                json_extract(e.body, '$.event.confidence') AS confidence,
                json_extract(x.value, '$.name') AS name,
                coalesce(json_extract(x.value, '$.corrects'), 0) AS corrects
            FROM entries AS e,
                json_each(CASE WHEN json_valid(e.body) THEN e.body END, '$.effects') AS x
            WHERE x.type = 'object' AND json_extract(x.value, '$.kind') = 'judged'
        )
        SELECT job, seq, wall, mono_s, who, device, heard, confidence,
            json_extract(effect, '$.step') AS step,
            name,
            json_extract(effect, '$.said') AS said,
            json_extract(effect, '$.value') AS value,
            json_extract(effect, '$.unit') AS unit,
            json_extract(effect, '$.special') AS special,
            json_extract(effect, '$.si_value') AS si_value,
            json_extract(effect, '$.si_unit') AS si_unit,
            json_extract(effect, '$.bounds.at_least') AS at_least,
            json_extract(effect, '$.bounds.at_most') AS at_most,
            json_extract(effect, '$.bounds.unit') AS limit_unit,
            json_extract(effect, '$.bounds.source') AS limit_source,
            json_extract(effect, '$.bounds.safety') AS safety,
            json_extract(effect, '$.verdict') AS verdict,
            json_extract(effect, '$.derived') AS derived,
            json_extract(effect, '$.instrument') AS instrument,
            (
                SELECT json_extract(i.value, '$.calibration_due')
                FROM entries AS s, json_each(s.body, '$.start.job.instruments') AS i
                WHERE s.job = judged.job AND s.seq = 1
                    AND json_extract(i.value, '$.id') = json_extract(effect, '$.instrument')
            ) AS calibration_due,
            corrects,
            CASE WHEN lead(corrects) OVER later THEN lead(seq) OVER later END AS superseded_by,
            hash
        FROM judged
        WINDOW later AS (PARTITION BY job, name ORDER BY seq, place)
        """
    )


@migrations()
def m004_sealed_bodies(db: Database) -> None:
    """Entries of format 2: a body is hashed by its seal, so that it can be taken out later.

    Entries that are there keep format 1 (no seal). A text or a body may go once a redaction entry
    names the entry it was in, and in no other way.
    """
    for statement in (
        "ALTER TABLE entries ADD COLUMN seal TEXT CHECK (seal IS NULL OR length(seal) = 64)",
        "ALTER TABLE entries ADD COLUMN salts TEXT CHECK (salts IS NULL OR json_valid(salts))",
        "CREATE INDEX redactions ON entries (job, seq) WHERE kind = 'redaction'",
        """
        CREATE TABLE attachments (
            job TEXT NOT NULL,
            seq INTEGER NOT NULL,
            data BLOB,
            PRIMARY KEY (job, seq),
            FOREIGN KEY (job, seq) REFERENCES entries(job, seq)
        )
        """,
        """
        CREATE TABLE signatures (
            job TEXT NOT NULL REFERENCES jobs(id),
            count INTEGER NOT NULL,
            head TEXT NOT NULL,
            public_key TEXT NOT NULL,
            signature TEXT NOT NULL,
            wall TEXT NOT NULL,
            PRIMARY KEY (job, count, public_key)
        )
        """,
        "DROP TRIGGER entries_no_update",
    ):
        db.conn.execute(statement)
    covered = """EXISTS (
        SELECT 1 FROM entries AS r, json_each(r.body, '$.redaction.entries') AS named
        WHERE r.job = OLD.job AND r.kind = 'redaction' AND named.value = OLD.seq
    )"""
    same = " AND ".join(
        f"NEW.{name} IS OLD.{name}"
        for name in ("job", "seq", "wall", "mono_s", "kind", "prev_hash", "hash", "seal")
    )
    less = "OLD.salts IS NOT NULL AND coalesce(length(NEW.salts), 0) < length(OLD.salts)"
    no_change = "the record is append-only: append a correction instead"
    no_removal = "the record is append-only: nothing in it can be removed"
    rules = {
        "entries_no_update": (
            f"UPDATE ON entries WHEN NOT ({same} AND {less} AND {covered})",
            no_change,
        ),
        "attachments_no_update": (
            "UPDATE ON attachments WHEN NOT (NEW.job IS OLD.job AND NEW.seq IS OLD.seq "
            f"AND NEW.data IS NULL AND {covered})",
            no_change,
        ),
        "attachments_no_delete": ("DELETE ON attachments", no_removal),
        # INSERT OR REPLACE would remove a row without the triggers above.
        "attachments_once": (
            "INSERT ON attachments WHEN EXISTS (SELECT 1 FROM attachments WHERE job = NEW.job "
            "AND seq = NEW.seq)",
            no_change,
        ),
        "signatures_no_update": ("UPDATE ON signatures", no_change),
        "signatures_no_delete": ("DELETE ON signatures", no_removal),
        "signatures_once": (
            "INSERT ON signatures WHEN EXISTS (SELECT 1 FROM signatures WHERE job = NEW.job "
            "AND count = NEW.count AND public_key = NEW.public_key)",
            no_change,
        ),
    }
    for name, (event, why) in rules.items():
        db.conn.execute(
            f"CREATE TRIGGER {name} BEFORE {event} BEGIN SELECT RAISE(ABORT, '{why}'); END"
        )


@migrations()
def m005_views_for_the_office(db: Database) -> None:
    """Views to read with any SQLite tool; what each column means stands in records/README.md."""
    from assistant.records.views import VIEWS

    for name, text in VIEWS.items():
        db.conn.execute(f"DROP VIEW IF EXISTS {name}")
        db.conn.execute(f"CREATE VIEW {name} AS {text}")
