"""The printed record says what the log says: D1 and D2 played by their rehearsals, read back from
the PDF and held against the entries."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pypdf
import pytest

from assistant.errors import RecordError
from assistant.records import bundle, retention
from assistant.records.report import Photo, commissioning_record, customer_page
from assistant.records.store import Store
from assistant.records.verify import verify
from tests.records.report_hostile import photo
from tests.records.report_jobs import Kept, case, kept, play, script, texts, tight, whole

# Printed signs of the units that the log names (ISO 80000).
SIGNS = {"volt": "V", "ohm": "Ω", "megohm": "MΩ", "percent": "%", "second": "s", "newton": "N"}
DATE = datetime(2026, 3, 3, 12, 0, tzinfo=UTC)
Make = Callable[[str], Kept]


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> Make:
    """Jobs by name, each played once."""
    made: dict[str, Kept] = {}
    stop = "lead: note the cable gland at the top is loose\nlead: stop work\nlead: go ahead\n"
    stop += "lead: unable the ladder is missing"

    def make(name: str) -> Kept:
        if name not in made:
            folder = tmp_path_factory.mktemp(name)
            until = "lockout confirmed {challenge}"
            made[name] = {
                "d1": lambda: play(folder, "pinewharf-d1", script("pinewharf-d1")),
                "d2": lambda: play(folder, "pinewharf-d2", script("pinewharf-d2")),
                "stopped": lambda: play(
                    folder, "pinewharf-d2", script("pinewharf-d2", until=until, then=stop)
                ),
                "timed": lambda: play(
                    folder, "pinewharf-d2", case("travel-guard", "d2-full"), "travel-guard"
                ),
                "forces": lambda: play(
                    folder, "pinewharf-d3", case("force-tests", "d3-full"), "force-tests"
                ),
            }[name]()
        return made[name]

    return make


def record(job: Kept, **more: object) -> bytes:
    return commissioning_record(job.store, job.job, job.plan, **more)  # type: ignore[arg-type]


def written(value: str, unit: str, derived: bool) -> str:
    """A reading's value as it must stand in print, worked out here and not by the report."""
    number = format(float(value), ".4g") if derived else value
    return f"{number}{SIGNS[unit]}"


@pytest.mark.parametrize("name", ["d1", "d2", "timed", "forces"])
def test_every_reading_stands_in_print_as_the_log_has_it(jobs: Make, name: str):
    job = jobs(name)
    page = whole(record(job))
    rows = job.store.readings(job.job)
    assert len(rows) > 5
    for row in rows:
        clock = datetime.fromisoformat(row["wall"]).strftime("%H:%M:%S")
        later = [r["seq"] for r in rows if r["name"] == row["name"] and r["seq"] > row["seq"]]
        said = f"{row['name']},{clock}"
        said += f",replacedbyentry{later[0]}" if later else ""
        if row["value"] is None:
            said += tight(row["special"].replace("-", " "))
        else:
            said += written(row["value"], row["unit"], bool(row["derived"]))
        assert said in page, f"entry {row['seq']}"


@pytest.mark.parametrize("name", ["d1", "d2", "forces"])
def test_limit_verdict_and_source_stand_beside_each_reading(jobs: Make, name: str):
    job = jobs(name)
    page = whole(record(job))
    for row in job.store.readings(job.job):
        if row["limit_source"] is None:
            continue
        low, high = (
            None if row[side] is None else format(float(row[side]), ".4g")
            for side in ("at_least", "at_most")
        )
        sign = SIGNS[row["limit_unit"]]
        limit = (
            f"{low}to{high}{sign}" if low and high else f"≥{low}{sign}" if low else f"≤{high}{sign}"
        )
        verdict = {"pass": "within", "fail": "OUTSIDE"}[row["verdict"]]
        source = tight(row["limit_source"].replace("degC", "°C").replace("ohm", "Ω"))
        source = source.replace("1.2xexpected", "1.2×expected")
        assert f"{limit}{verdict}{source}" in page or f"{limit}†{verdict}{source}" in page


@pytest.mark.parametrize("name", ["d1", "d2", "stopped"])
def test_every_tag_stands_with_who_from_and_to(jobs: Make, name: str):
    job = jobs(name)
    page = whole(record(job))
    found = 0
    for entry in job.store.entries(job.job):
        for effect in entry.body.get("effects", ()):
            if effect["kind"] == "taken" and effect.get("tag"):
                found += 1
                assert f"entry{entry.seq}" in page
                assert f"{effect['person'].capitalize()}{effect['tag']}2026-03-02" in page
    assert found >= 1


def test_every_lost_proof_stands_with_its_cause_and_ends_the_locks(jobs: Make):
    job = jobs("stopped")
    page = whole(record(job))
    voids = [
        (entry, effect)
        for entry in job.store.entries(job.job)
        for effect in entry.body.get("effects", ())
        if effect["kind"] == "voided"
    ]
    assert [effect["cause"] for _, effect in voids] == ["stop-work"]
    (entry, _) = voids[0]
    assert f"{entry.seq}2026-03-0208:02UTCStopworkwascalledprovendeadlead" in page
    assert "proofvoid:stopworkwascalled;tobeprovenanew" in page


def test_open_points_and_remarks_stand_with_their_words(jobs: Make):
    page = whole(record(jobs("stopped")))
    assert "notcarriedouttheladderismissing" in page
    assert "unable:theladderismissing;open" in page
    assert "thecableglandatthetopisloose" in page
    assert "INCOMPLETE" in page


@pytest.mark.parametrize("name", ["d1", "d2", "timed"])
def test_the_chain_head_and_the_digests_stand_in_full(jobs: Make, name: str):
    from hashlib import sha256

    job = jobs(name)
    page = whole(record(job))
    head = job.store.head(job.job)
    assert verify(job.store, job.job).head_hash in page
    assert job.store.job(job.job)["hash"] in page
    for file, text in head["texts"].items():
        assert f"{file}{sha256(text.encode()).hexdigest()}" in page
    assert head["thirdhand"] in page
    for part in job.plan.pack.parts:
        assert f"Pack{part.name}version{part.version}" in page


def test_a_whole_job_is_complete_and_one_outside_its_limits_never_is(jobs: Make):
    job = jobs("d1")
    judged = {r["name"] for r in job.store.readings(job.job) if r["verdict"] != "none"}
    wanted = f"COMPLETEAll{len(judged)}readingswithlimitsarewithinthem"
    assert wanted in whole(record(job))
    copy = _edited(job, limit="0.0")
    assert "LIMITSNOTMET" in whole(commissioning_record(copy, job.job, job.plan))


def test_a_record_that_does_not_verify_says_so_on_its_first_page(jobs: Make, tmp_path: Path):
    job = jobs("d2")
    copy = Store.memory()
    entries = list(job.store.entries(job.job))
    copy.create_job(job.job, entries[0].body["start"], entries[0].wall)
    for entry in entries[1:20]:
        copy.append(job.job, entry.body, wall=entry.wall, mono_s=entry.mono_s)
    connection = copy._conn
    connection.execute("DROP TRIGGER entries_no_update")
    connection.execute("UPDATE entries SET wall = '2026-03-02T09:00:00+00:00' WHERE seq = 9")
    assert "NOTVERIFIED" in texts(commissioning_record(copy, job.job, job.plan))[0]


def _edited(job: Kept, limit: str) -> Store:
    """The same job, written anew with one reading outside its limit."""
    copy = Store.memory()
    entries = list(job.store.entries(job.job))
    copy.create_job(job.job, entries[0].body["start"], entries[0].wall)
    for entry in entries[1:]:
        for effect in entry.body.get("effects", ()):
            if effect["kind"] == "judged" and effect["name"] == "earth.panel-door":
                effect["verdict"], effect["bounds"]["at_most"] = "fail", limit
        copy.append(job.job, entry.body, wall=entry.wall, mono_s=entry.mono_s)
    return copy


def test_the_calculated_values_show_their_working_and_inputs(jobs: Make):
    page = whole(record(jobs("d1")))
    # 482, 479 and 480 V as said in the script: by the definition of NEMA MG 1
    assert "average=(482+479+480)/3=480.33V" in page
    assert "Inputs:volts=482V,479V,480V" in page
    page = whole(record(jobs("forces")))
    assert "meanof410,402,398=403.3N" in page
    assert "Inputs:peaks=410N,402N,398N;gap=50mm" in page  # as they stood, before the second try


def test_timers_stand_among_the_settings_and_in_a_plot(jobs: Make):
    job = jobs("timed")
    page = whole(record(job))
    assert "Timersagainsttraveltimes[s]" in page
    settings = page[page.index("Settingsleftinthepanel") :]
    standing = {r["name"]: r for r in job.store.readings(job.job)}
    for name in ("opening-guard", "closing-guard"):
        assert f"{name}{standing[name]['value']}s" in settings


def test_forces_are_plotted_and_told_apart_by_their_gap(jobs: Make):
    page = whole(record(jobs("forces")))
    assert "Closingforcesagainsttheirlimits[N]" in page
    assert "Smallgap:Mean,firstplace" in page


def test_only_plots_with_data_are_drawn(jobs: Make):
    assert "Closingforces" not in whole(record(jobs("d1")))
    assert "Supplyvoltagesagainsttheirlimits[V]" in whole(record(jobs("d1")))
    assert "Howthejobwasheard" not in whole(record(jobs("d1")))  # played by text


def test_the_terminals_stand_with_the_entry_that_confirmed_them(jobs: Make):
    job = jobs("d2")
    page = whole(record(job))
    asked = {s.id for s in job.plan.steps if (s.for_each or "").startswith("terminal:")}
    done = {
        effect["step"]: entry.seq
        for entry in job.store.entries(job.job)
        for effect in entry.body.get("effects", ())
        if effect["kind"] == "taken"
    }
    assert asked & set(done)
    for step in asked & set(done):
        assert f"(entry{done[step]})" in page
    for line in job.plan.job.terminals:
        assert tight(line.terminal) in page


def test_an_instrument_out_of_date_is_marked_at_its_readings(jobs: Make):
    job = jobs("d2")
    copy = Store.memory()
    entries = list(job.store.entries(job.job))
    head = entries[0].body["start"]
    for each in head["job"]["instruments"]:
        each["calibration_due"] = "2026-03-01"  # the job is of the day after
    copy.create_job(job.job, head, entries[0].wall)
    for entry in entries[1:]:
        copy.append(job.job, entry.body, wall=entry.wall, mono_s=entry.mono_s)
    page = whole(commissioning_record(copy, job.job, job.plan))
    used = [r for r in job.store.readings(job.job) if r["instrument"]]
    assert page.count("OUTOFDATEdue2026-03-01") == len(used)
    assert "OUTOFDATE" not in whole(record(job))


def test_names_are_printed_only_where_they_were_given(jobs: Make):
    job = jobs("d2")
    assert "nonameentered" in whole(record(jobs("timed")))
    assert "ToniExample" in whole(record(job, names={"lead": "Toni Example"}))


def test_photos_come_from_the_record_itself_four_a_page(jobs: Make, tmp_path: Path):
    from assistant.records.attachments import attach

    job = jobs("timed")
    store = _edited(job, limit="1")
    for seed in range(5):
        wall = store.job(job.job)["started_wall"]
        attach(store, job.job, photo(seed), name=f"{seed}.jpg", wall=wall, step="guides")
    before = len(pypdf.PdfReader(io.BytesIO(record(job))).pages)
    pages = pypdf.PdfReader(
        io.BytesIO(commissioning_record(store, job.job, job.plan, date=DATE))
    ).pages
    counts = [len(page.images) for page in pages]
    assert [count for count in counts if count] == [4, 1]
    assert len(pages) >= before + 2
    given = [Photo("guides", "2026-03-02T08:00:00+00:00", photo(9), "the left guide")]
    page = whole(commissioning_record(store, job.job, job.plan, pictures=given))
    assert "theleftguide" in page


# --- the same bytes ----------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["d1", "timed"])
def test_the_same_log_gives_the_same_bytes_twice_and_after_opening_anew(
    jobs: Make, name: str, tmp_path: Path
):
    job = jobs(name)
    first = record(job, date=DATE)
    assert record(job, date=DATE) == first
    file = Path(job.store._name)
    with Store.open(file) as again:
        assert record(kept(again), date=DATE) == first
    assert record(job, date=datetime(2027, 1, 1, tzinfo=UTC)) != first


def test_a_record_taken_in_elsewhere_gives_the_same_bytes(jobs: Make, tmp_path: Path):
    job = jobs("d2")
    archive = tmp_path / "d2.zip"
    with archive.open("wb") as out:
        bundle.write(job.store, job.job, out)
    with Store.open(tmp_path / "other" / "records.sqlite") as other:
        bundle.take_in(other, archive)
        there = kept(other)
        for make in (commissioning_record, customer_page):
            here = make(job.store, job.job, job.plan, date=DATE)
            assert make(other, there.job, there.plan, date=DATE) == here


def test_without_a_date_the_files_date_is_the_last_entry(jobs: Make):
    job = jobs("d1")
    reader = pypdf.PdfReader(io.BytesIO(record(job)))
    *_, last = job.store.entries(job.job)
    assert reader.metadata is not None
    assert reader.metadata.creation_date == datetime.fromisoformat(last.wall)


def test_a_record_without_its_texts_still_prints(jobs: Make):
    job = jobs("d2")
    page = whole(commissioning_record(job.store, job.job))
    for row in job.store.readings(job.job):
        assert f"{row['name']}," in page


def test_what_was_taken_out_of_the_record_is_told_and_the_rest_still_prints(jobs: Make):
    job = jobs("stopped")
    store = _edited(job, limit="1")
    told = {"who": "office", "why": "a rule", "wall": job.store.job(job.job)["started_wall"]}
    retention.redact(store, job.job, "words", **told)
    page = whole(commissioning_record(store, job.job, job.plan))
    assert "thecableglandatthetopisloose" not in page
    assert "Takenoutsincetextsorfilesofentries" in page
    assert "Checkgood," in page
    assert "tester-before,08:01:16" in page
    retention.redact(store, job.job, "everything", **told)
    with pytest.raises(RecordError, match="was redacted"):
        commissioning_record(store, job.job, job.plan)


def test_a_clock_that_was_set_back_is_shown(jobs: Make):
    job = jobs("d2")
    assert "Wallclockandmonotonictimeagree" in whole(record(job))
    store = Store.memory()
    entries = list(job.store.entries(job.job))
    store.create_job(job.job, entries[0].body["start"], entries[0].wall)
    for entry in entries[1:30]:
        wall = entry.wall if entry.seq < 20 else entry.wall.replace("T08:", "T07:")
        store.append(job.job, entry.body, wall=wall, mono_s=entry.mono_s)
    page = whole(commissioning_record(store, job.job, job.plan))
    assert "Thewallclockwassetbackby3600swhilethejobran,beforeentry20" in page


def test_an_unknown_job_or_paper_is_an_error_that_says_so(jobs: Make):
    job = jobs("d2")
    with pytest.raises(RecordError, match="no job 'd9'"):
        commissioning_record(job.store, "d9")
    with pytest.raises(RecordError, match="use A4 or Letter"):
        record(job, paper="A5")


# --- the customer's page -------------------------------------------------------------------------


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["d1", "d2", "forces"])
def test_the_customers_page_is_one_page_and_follows_the_doors_options(
    jobs: Make, name: str, paper: str
):
    job = jobs(name)
    pages = texts(customer_page(job.store, job.job, job.plan, paper=paper))  # type: ignore[arg-type]
    assert len(pages) == 1
    options = job.plan.job.options
    said = {
        "emergency-stop": "redemergency-stopbutton",
        "safety-edge": "theedge:thedoormustturnback",
        "light-beam": "holdaboardinthebeam",
        "auto-close": "letthedoorclosebyitself",
        "freezer": "Noiceonguides",
        "battery-backup": "Everysixmonths",
    }
    for option, words in said.items():
        assert (words in pages[0]) == (option in options), option
    for heading in ("Tostopit", "Toswitchitoffandlockit", "Tostartitagain", "Whattocheck"):
        assert heading in pages[0]
    looked_at = {"high-speed-roll-up": "guidesandcurtain", "sectional": "tracks,panels,springs"}
    assert looked_at[job.plan.job.door_type] in pages[0]
    assert "DANGER" in pages[0]
    assert "Whomtoask" in pages[0]
    stored = job.plan.job.stored_energy
    wait = tight(f"stay charged for at least {stored.wait}")
    assert (wait in pages[0]) == stored.present
