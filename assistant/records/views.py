"""The views of migration m005: what an office asks of the log, as SQL over the entries alone.

Never changed once released: a new wording of a view comes as a new migration. Nothing here is
kept twice; each view is worked out from the entries when it is asked.
"""

# ruff: noqa: S608  (nothing from outside goes into these texts)

from __future__ import annotations

_EFFECTS = """
    SELECT e.job, e.seq, e.wall, e.mono_s, e.hash, e.body, x.key AS place, x.value AS effect,
        json_extract(x.value, '$.kind') AS kind
    FROM entries AS e,
        json_each(CASE WHEN json_valid(e.body) THEN e.body END, '$.effects') AS x
    WHERE x.type = 'object'
"""


def _text(source: str, path: str) -> str:
    """A text that may have been taken out."""
    return (
        f"CASE json_type({source}, '{path}') WHEN 'object' THEN '[redacted]' "
        f"ELSE json_extract({source}, '{path}') END"
    )


_READINGS = f"""
    WITH judged AS (
        SELECT *, json_extract(effect, '$.name') AS name,
            coalesce(json_extract(effect, '$.corrects'), 0) AS corrects
        FROM ({_EFFECTS}) WHERE kind = 'judged'
    )
    SELECT job, seq, wall, mono_s,
        json_extract(body, '$.event.who') AS who,
        {_text("body", "$.event.device")} AS device,
        {_text("body", "$.event.heard")} AS heard,
        json_extract(body, '$.event.confidence') AS confidence,
        json_extract(effect, '$.step') AS step,
        name,
        {_text("effect", "$.said")} AS said,
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

_OPEN_POINTS = f"""
    WITH points AS (
        SELECT job, seq, wall, place, json_extract(effect, '$.step') AS step,
            json_extract(effect, '$.cause') AS cause, {_text("effect", "$.reason")} AS reason,
            json_extract(body, '$.event.who') AS who,
            row_number() OVER (
                PARTITION BY job, json_extract(effect, '$.step') ORDER BY seq DESC, place DESC
            ) AS back
        FROM ({_EFFECTS}) WHERE kind = 'open-point'
    )
    SELECT job, seq, wall, who, step, cause, reason FROM points
    WHERE back = 1 AND NOT (
        cause = 'failed' AND EXISTS (
            SELECT 1 FROM ({_EFFECTS}) AS told
            WHERE told.job = points.job AND told.kind = 'judged'
                AND json_extract(told.effect, '$.step') = points.step
                AND json_extract(told.effect, '$.verdict') <> 'fail'
                AND (told.seq, told.place) > (points.seq, points.place)
        )
    )
"""

_LOCKOUTS = f"""
    SELECT job, seq, wall, mono_s, json_extract(body, '$.event.who') AS who,
        CASE kind
            WHEN 'energy-now' THEN 'state'
            WHEN 'voided' THEN 'voided'
            ELSE CASE WHEN json_extract(effect, '$.step') LIKE '%lock-off%' THEN 'lock off'
                ELSE 'lock on' END
        END AS what,
        {_text("effect", "$.person")} AS person,
        json_extract(effect, '$.tag') AS tag,
        CASE kind WHEN 'energy-now' THEN json_extract(effect, '$.state')
            ELSE json_extract(body, '$.energy') END AS state,
        json_extract(effect, '$.cause') AS cause,
        json_extract(effect, '$.step') AS step
    FROM ({_EFFECTS})
    WHERE kind IN ('energy-now', 'voided')
        OR (kind = 'taken' AND coalesce(json_extract(effect, '$.tag'), '') <> '')
"""

_JOBS_OF_DOOR = f"""
    SELECT jobs.id AS job,
        json_extract(first.body, '$.start.site') AS site,
        json_extract(first.body, '$.start.door') AS door,
        jobs.title AS title,
        json_extract(first.body, '$.start.pack') AS pack,
        json_extract(first.body, '$.start.version') AS version,
        json_extract(first.body, '$.start.thirdhand') AS thirdhand,
        jobs.started_wall AS started,
        coalesce(
            (
                -- A finished job that is opened again says so anew: the first time counts.
                SELECT wall FROM ({_EFFECTS}) AS f
                WHERE f.job = jobs.id AND f.kind = 'finished' AND f.seq >= coalesce(
                    (
                        SELECT max(seq) FROM ({_EFFECTS}) AS n
                        WHERE n.job = jobs.id AND n.kind = 'entered'
                    ),
                    0
                )
                ORDER BY f.seq LIMIT 1
            ),
            (
                SELECT wall FROM entries AS last
                WHERE last.job = jobs.id AND last.kind NOT IN ('redaction', 'attachment')
                ORDER BY seq DESC LIMIT 1
            )
        ) AS ended,
        tips.count AS entries,
        (
            SELECT json_extract(effect, '$.kind') = 'finished' FROM ({_EFFECTS}) AS x
            WHERE x.job = jobs.id AND x.kind IN ('finished', 'entered')
            ORDER BY seq DESC, place DESC LIMIT 1
        ) AS finished,
        tips.hash AS hash
    FROM jobs
    LEFT JOIN tips ON tips.job = jobs.id
    LEFT JOIN entries AS first ON first.job = jobs.id AND first.seq = 1
"""

_FILES = f"""
    SELECT e.job, e.seq, e.wall, json_extract(e.body, '$.attachment.kind') AS kind,
        {_text("e.body", "$.attachment.name")} AS name,
        json_extract(e.body, '$.attachment.media_type') AS media_type,
        json_extract(e.body, '$.attachment.size') AS size,
        json_extract(e.body, '$.attachment.sha256') AS sha256,
        json_extract(e.body, '$.attachment.step') AS step,
        a.data IS NOT NULL AS kept
    FROM entries AS e LEFT JOIN attachments AS a ON a.job = e.job AND a.seq = e.seq
    WHERE e.kind = 'attachment' AND json_valid(e.body)
"""

VIEWS = {
    "readings": _READINGS,
    "open_points": _OPEN_POINTS,
    "lockouts": _LOCKOUTS,
    "jobs_of_door": _JOBS_OF_DOOR,
    "files": _FILES,
}
