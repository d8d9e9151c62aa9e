"""A player's own data: out and back in, in files and as a whole; over both databases."""

from __future__ import annotations

import csv
import json
import sqlite3
import zipfile
from contextlib import closing
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from keeping_samples import PASSAGE, PLAYER, attempt, double_stop_notes, drafts, instant, shift_card, take
from truestop.adapters.store import FolderShelf, SqlPracticeStore
from truestop.adapters.store.copying import squeeze
from truestop.adapters.store.opening import open_engine
from truestop.app.backup import back_up, restore
from truestop.app.exchange import TABLES
from truestop.app.owndata import export_csv, export_json, import_record
from truestop.app.ports import Draft, Rejudged
from truestop.domain.attempt import MEASURE_VERSION, Expectation
from truestop.domain.errors import StoreError
from truestop.domain.record import Player, Strike


@pytest.fixture
def full(store: SqlPracticeStore, tmp_path: Path) -> SqlPracticeStore:
    """A record with something in every table, and its takes on the shelf."""
    store.keep_player(Player(key="ona", name='Ona "Ö" Řezníček, jr.'))
    expected = Expectation(
        shift="s1", stage="plain", departure=attempt().target, arrival=attempt().target, beats_s=(1.0, 2.5)
    )
    odd = attempt(verdict="high", landing_cents=21.123456789012345, faults=("high", "moved away"), borderline=True,
                  notes=double_stop_notes())  # fmt: skip
    sound = tmp_path / "sound.wav"
    sound.write_bytes(b"RIFF" + bytes(range(256)) * 40)
    file = FolderShelf(tmp_path / "takes").put("take-1", sound)
    store.keep_take(take(1, instant(2), file=file, expected=(expected,)), [Draft(attempt=odd, own_ear="low")])
    store.keep_take(
        take(2, instant(3), shift="s2"), drafts(attempt("s2"), attempt("s2", start_s=5.0, reason="a, b\nc"))
    )
    store.keep_take(
        take(3, instant(3, 12), shift=None, player="ona"), drafts(attempt("s2", landing_cents=None, trace_s=()))
    )
    store.strike("take-2.1", Strike(at_s=instant(4), struck=True, why='a "false" start'))
    anew = attempt(measure_version=MEASURE_VERSION + 1, notes=double_stop_notes())
    store.keep_rejudged([Rejudged(attempt="take-1.1", judged_at_s=instant(5), measured=anew)])
    return store


def rows_of(store: SqlPracticeStore) -> dict[str, list[dict[str, Any]]]:
    return {name: list(store.rows_of(name)) for name in TABLES}


@pytest.mark.parametrize("form", ["csv", "json"])
def test_an_export_comes_back_whole_and_only_once(full: SqlPracticeStore, tmp_path: Path, form: str) -> None:
    out = tmp_path / ("out" if form == "csv" else "out.json")
    counts = (export_csv if form == "csv" else export_json)(full, out)
    assert counts == {
        "players": 2, "passages": 1, "shifts": 2, "takes": 3, "attempts": 4, "strikes": 1, "rejudged": 1, "traces": 4,
    }  # fmt: skip
    other = SqlPracticeStore(tmp_path / "other.sqlite")
    assert import_record(other, out) == counts
    assert rows_of(other) == rows_of(full)
    assert other.studio(recent_days=9) == full.studio(recent_days=9)
    assert other.attempts_of("take-1") == full.attempts_of("take-1")
    assert other.take("take-1") == full.take("take-1")
    assert set(import_record(other, out).values()) == {0}
    other.close()


def test_csv_is_what_its_schema_says(full: SqlPracticeStore, tmp_path: Path) -> None:
    export_csv(full, tmp_path / "out")
    assert {path.stem for path in (tmp_path / "out").iterdir()} == set(TABLES)
    with (tmp_path / "out" / "attempts.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == [field.name for field in TABLES["attempts"]]
    assert rows[0]["landing_cents"] == repr(21.123456789012345)
    assert (rows[0]["cold"], rows[1]["struck_out"], rows[0]["day"]) == ("yes", "yes", "2026-03-02")


def test_an_export_never_overwrites(full: SqlPracticeStore, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "letter.txt").write_text("mine")
    with pytest.raises(StoreError, match="in use"):
        export_csv(full, tmp_path / "out")
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["letter.txt"]


WRONG = [
    ("landing_cents", "12,5", "not a number"),
    ("landing_cents", "nan", "not a number"),
    ("cold", "maybe", "not a yes/no"),
    ("number", "x", "not a whole"),
    ("shift", "s99", "not among"),
    ("day", "2.3.26", "not a day"),
    ("number", "99999999999999999999", "not a whole"),
    ("verdict", "treu", "not a verdict"),
    ("target_pitch", "H4", "not a pitch"),
    ("target_string", "6", "not a string from 1 to 5"),
    ("own_ear", "loud", "not high, low or true"),
    ("at_s", "1e300", "not an instant"),
]


def test_a_wrong_field_is_named_and_nothing_is_added(full: SqlPracticeStore, tmp_path: Path) -> None:
    export_csv(full, tmp_path / "out")
    path = tmp_path / "out" / "attempts.csv"
    good = path.read_text(encoding="utf-8")
    other = SqlPracticeStore(tmp_path / "other.sqlite")
    for column, value, words in WRONG:
        rows = list(csv.DictReader(good.splitlines(keepends=True)))
        rows[2][column] = value
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)
        with pytest.raises(StoreError, match=words) as caught:
            import_record(other, tmp_path / "out")
        assert caught.value.where in ("attempts.csv, row 3", "attempts, row 3")
        assert other.players() == ()
    other.close()


@pytest.mark.parametrize(
    "content",
    [
        "",
        "{",
        "[]",
        '{"schema": "other/1"}',
        '{"schema": "truestop.record/1", "takes": [3]}',
        '{"schema": "truestop.record/1", "takes": 3}',
        '{"schema": "truestop.record/1", "takes": ' + "9" * 5000 + "}",
    ],
)
def test_a_file_that_is_no_export_is_refused(tmp_path: Path, content: str) -> None:
    path = tmp_path / "x.json"
    path.write_text(content)
    store = SqlPracticeStore(tmp_path / "record.sqlite")
    with pytest.raises(StoreError):
        import_record(store, path)
    store.close()


def test_a_file_that_is_not_there_is_said_in_plain_words(tmp_path: Path) -> None:
    store = SqlPracticeStore(tmp_path / "record.sqlite")
    with pytest.raises(StoreError, match="cannot be read as JSON: no such file or directory") as caught:
        import_record(store, tmp_path / "x.json")
    assert "Errno" not in str(caught.value)
    store.close()


def test_a_restored_record_is_identical(full: SqlPracticeStore, tmp_path: Path) -> None:
    shelf = FolderShelf(tmp_path / "takes")
    report = back_up(full, shelf, tmp_path / "kept.truestop", now_s=instant(9))
    assert (report.takes, report.sounds, report.missing) == (3, 1, ())
    before, added, sound = rows_of(full), full.studio(recent_days=9), shelf.path("take-1.wav").read_bytes()
    full.delete_player(PLAYER.key)
    full.keep_player(Player(key="new", name="Somebody else"))
    shelf.remove("take-1.wav")
    back = restore(full, shelf, tmp_path / "kept.truestop", now_s=instant(10), keep_old_at=tmp_path / "old.truestop")
    assert (back.takes, back.sounds) == (3, 1)
    assert rows_of(full) == before
    assert full.studio(recent_days=9) == added
    assert shelf.path("take-1.wav").read_bytes() == sound
    assert (tmp_path / "old.truestop").is_file()
    kept = full.keep_take(take(4, instant(20)), drafts(attempt()))
    assert kept[0].cold


def test_a_backup_moves_between_databases(full: SqlPracticeStore, tmp_path: Path) -> None:
    shelf = FolderShelf(tmp_path / "takes")
    back_up(full, shelf, tmp_path / "kept.truestop", now_s=instant(9))
    other = SqlPracticeStore(tmp_path / "other.sqlite")
    restore(other, FolderShelf(tmp_path / "other"), tmp_path / "kept.truestop", now_s=instant(9))
    assert rows_of(other) == rows_of(full)
    back_up(other, FolderShelf(tmp_path / "other"), tmp_path / "again.truestop", now_s=instant(9))
    restore(full, shelf, tmp_path / "again.truestop", now_s=instant(9))
    assert rows_of(other) == rows_of(full)
    other.close()


def _tamper(path: Path, goal: Path, member: str, content: bytes | None) -> None:
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(goal, "w") as new:
        for info in old.infolist():
            if info.filename != member:
                new.writestr(info.filename, old.read(info))
            elif content is not None:
                new.writestr(info.filename, content)


@pytest.mark.parametrize("harm", ["truncated", "record", "take", "missing", "manifest", "not a zip", "no file"])
def test_a_damaged_backup_changes_nothing(full: SqlPracticeStore, tmp_path: Path, harm: str) -> None:
    shelf = FolderShelf(tmp_path / "takes")
    good, bad = tmp_path / "good.truestop", tmp_path / "bad.truestop"
    back_up(full, shelf, good, now_s=instant(9))
    before = rows_of(full)
    if harm == "truncated":
        bad.write_bytes(good.read_bytes()[:-900])
    elif harm == "not a zip":
        bad.write_text("hello")
    elif harm != "no file":
        member = {"record": "record.sqlite", "take": "takes/take-1.wav", "missing": "takes/take-1.wav"}.get(harm)
        _tamper(good, bad, member or "manifest.json", None if harm == "missing" else b"garbage")
    with pytest.raises(StoreError) as caught:
        restore(full, shelf, bad, now_s=instant(10))
    assert caught.value.hint
    assert rows_of(full) == before


@pytest.mark.parametrize(
    "files", ['["record.sqlite"]', '{"record.sqlite": {}}', '{"record.sqlite": {"bytes": "9"}}', "3"]
)
def test_a_manifest_that_lists_no_files_is_refused(full: SqlPracticeStore, tmp_path: Path, files: str) -> None:
    good, bad = tmp_path / "good.truestop", tmp_path / "bad.truestop"
    back_up(full, FolderShelf(tmp_path / "takes"), good, now_s=instant(9))
    _tamper(good, bad, "manifest.json", f'{{"schema": "truestop.backup/1", "files": {files}}}'.encode())
    with pytest.raises(StoreError, match="is not a backup"):
        restore(full, FolderShelf(tmp_path / "takes"), bad, now_s=instant(10))


def test_a_manifest_with_spoiled_bytes_is_told_as_damage(full: SqlPracticeStore, tmp_path: Path) -> None:
    path = tmp_path / "kept.truestop"
    back_up(full, FolderShelf(tmp_path / "takes"), path, now_s=instant(9))
    with zipfile.ZipFile(path) as archive:
        start = archive.getinfo("manifest.json").header_offset + 30 + len("manifest.json")
    spoiled = bytearray(path.read_bytes())
    spoiled[start : start + 20] = b"\xff" * 20
    path.write_bytes(spoiled)
    with pytest.raises(StoreError, match="damaged or no backup"):
        restore(full, FolderShelf(tmp_path / "takes"), path, now_s=instant(10))


def test_the_present_record_is_not_kept_in_the_backup_that_is_restored(full: SqlPracticeStore, tmp_path: Path) -> None:
    shelf, path = FolderShelf(tmp_path / "takes"), tmp_path / "kept.truestop"
    back_up(full, shelf, path, now_s=instant(9))
    before = path.read_bytes()
    with pytest.raises(StoreError, match="cannot be kept"):
        restore(full, shelf, path, now_s=instant(10), keep_old_at=tmp_path / "x" / ".." / path.name)
    assert path.read_bytes() == before


def test_a_backup_cannot_write_outside_the_shelf(store: SqlPracticeStore, tmp_path: Path) -> None:
    shelf = FolderShelf(tmp_path / "takes")
    back_up(store, shelf, tmp_path / "good.truestop", now_s=instant(9))
    with zipfile.ZipFile(tmp_path / "good.truestop") as old:
        manifest = json.loads(old.read("manifest.json"))
        record = old.read("record.sqlite")
    manifest["files"]["takes/../../out.wav"] = {"sha256": sha256(b"x").hexdigest(), "bytes": 1}
    with zipfile.ZipFile(tmp_path / "bad.truestop", "w") as new:
        new.writestr("manifest.json", json.dumps(manifest))
        new.writestr("record.sqlite", record)
        new.writestr("takes/../../out.wav", b"x")
    with pytest.raises(StoreError, match="not the name of a take"):
        restore(store, shelf, tmp_path / "bad.truestop", now_s=instant(10))
    assert not list(tmp_path.parent.glob("out.wav"))


def test_nothing_of_a_deleted_player_stays_in_the_file(tmp_path: Path) -> None:
    store = SqlPracticeStore(tmp_path / "record.sqlite")
    for player in (PLAYER, Player(key="zz-gone", name="Zebedee Quillfeather")):
        store.keep_player(player)
    store.keep_passage(PASSAGE, [shift_card(1)])
    secret = attempt(reason="Quillfeather coughed", verdict="unjudged")
    store.keep_take(take(1, instant(2), player="zz-gone", original_name="Quillfeather.wav"), drafts(secret))
    store.delete_player("zz-gone")
    everything = b"".join(path.read_bytes() for path in tmp_path.iterdir())
    assert b"Tolland" in everything
    assert b"Quillfeather" not in everything
    store.close()
    assert sqlite3.connect(tmp_path / "record.sqlite").execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_a_deletion_stands_while_another_program_writes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The room may write at any moment: the file then keeps its size, and the take's sound still goes."""
    monkeypatch.setattr("truestop.adapters.store.opening._LOCK_TIMEOUT_S", 0.05)
    place = tmp_path / "record.sqlite"
    engine = open_engine(place)
    with closing(sqlite3.connect(place, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with closing(sqlite3.connect(place, timeout=0)) as third, pytest.raises(sqlite3.OperationalError, match="lock"):
            third.execute("VACUUM")
        squeeze(engine)
    engine.dispose()


def test_the_backup_of_a_newer_version_touches_nothing(full: SqlPracticeStore, tmp_path: Path) -> None:
    good, bad = tmp_path / "good.truestop", tmp_path / "bad.truestop"
    back_up(full, FolderShelf(tmp_path / "takes"), good, now_s=instant(9))
    with zipfile.ZipFile(good) as archive:
        record = Path(archive.extract("record.sqlite", tmp_path / "copy"))
        manifest = json.loads(archive.read("manifest.json"))
    with closing(sqlite3.connect(record)) as copy, copy:
        copy.execute("UPDATE alembic_version SET version_num = '9999'")
    content = record.read_bytes()
    manifest["files"]["record.sqlite"] = {"sha256": sha256(content).hexdigest(), "bytes": len(content)}
    _tamper(good, tmp_path / "half.truestop", "record.sqlite", content)
    _tamper(tmp_path / "half.truestop", bad, "manifest.json", json.dumps(manifest).encode())
    with pytest.raises(StoreError, match="newer truestop"):
        restore(full, FolderShelf(tmp_path / "empty"), bad, now_s=instant(10))
    assert not [path for path in (tmp_path / "empty").rglob("*") if path.is_file()]


def test_both_notes_of_a_double_stop_are_kept_and_come_back(full: SqlPracticeStore, tmp_path: Path) -> None:
    (kept,) = full.attempts_of("take-1")
    assert kept.attempt.notes == double_stop_notes()
    assert full.attempts_of("take-2")[0].attempt.notes == ()
    assert [one.measured.notes for one in full.rejudged(measure_version=MEASURE_VERSION + 1)] == [double_stop_notes()]
    full.adopt(["take-1.1"], measure_version=MEASURE_VERSION + 1, at_s=instant(6))
    assert full.attempts_of("take-1")[0].attempt.notes == double_stop_notes()
    assert full.rejudged(measure_version=MEASURE_VERSION)[0].measured.notes == double_stop_notes()


def test_an_export_from_before_notes_were_kept_comes_in(full: SqlPracticeStore, tmp_path: Path) -> None:
    export_csv(full, tmp_path / "out")
    for name in ("attempts", "rejudged"):
        path = tmp_path / "out" / f"{name}.csv"
        with path.open(encoding="utf-8", newline="") as file:
            rows = [{key: value for key, value in row.items() if key != "notes"} for row in csv.DictReader(file)]
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)
    other = SqlPracticeStore(tmp_path / "other.sqlite")
    assert import_record(other, tmp_path / "out")["attempts"] == 4
    assert other.attempts_of("take-1")[0].attempt.notes == ()
    other.close()


@pytest.mark.parametrize("notes", ["two", "[1]", "{}x", '[{"verdict": "true"}]', '[{"target": {}, "verdict": "no"}]'])
def test_notes_that_are_none_are_refused_and_nothing_is_added(
    full: SqlPracticeStore, tmp_path: Path, notes: str
) -> None:
    export_json(full, tmp_path / "out.json")
    document = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    document["attempts"][0]["notes"] = notes
    (tmp_path / "out.json").write_text(json.dumps(document), encoding="utf-8")
    other = SqlPracticeStore(tmp_path / "other.sqlite")
    with pytest.raises(StoreError, match="notes of a double stop"):
        import_record(other, tmp_path / "out.json")
    assert rows_of(other)["players"] == []
    other.close()


def test_a_number_that_is_none_is_refused_in_json_as_well(full: SqlPracticeStore, tmp_path: Path) -> None:
    export_json(full, tmp_path / "out.json")
    text = (tmp_path / "out.json").read_text(encoding="utf-8")
    (tmp_path / "out.json").write_text(text.replace('"duration_s": 12.5', '"duration_s": NaN', 1), encoding="utf-8")
    other = SqlPracticeStore(tmp_path / "other.sqlite")
    with pytest.raises(StoreError, match="not a number"):
        import_record(other, tmp_path / "out.json")
    other.close()


def test_a_recording_that_two_records_hold_is_not_counted_twice(full: SqlPracticeStore, tmp_path: Path) -> None:
    """A teacher and a student who judged the same file have takes of different numbers."""
    other = SqlPracticeStore(tmp_path / "other.sqlite")
    other.keep_player(PLAYER)
    other.keep_passage(PASSAGE, [shift_card(1), shift_card(2, direction="down")])
    other.keep_take(take(1, instant(2), id="another-number"), drafts(attempt(verdict="low")))
    export_csv(full, tmp_path / "out")
    added = import_record(other, tmp_path / "out")
    assert (added["takes"], added["attempts"], added["traces"]) == (2, 3, 2)
    assert [one.id for one in other.takes(player=PLAYER.key)] == ["another-number", "take-2"]
    assert [one.attempt.verdict for one in other.attempts_at(player=PLAYER.key, shift="s1")] == ["low"]
    assert set(import_record(other, tmp_path / "out").values()) == {0}
    other.close()


def test_an_imported_run_takes_the_cold_mark_of_a_shift_it_went_through(
    store: SqlPracticeStore, tmp_path: Path
) -> None:
    store.keep_take(take(1, instant(2, 9), shift=None), drafts(attempt("s2")))
    export_csv(store, tmp_path / "out")
    other = SqlPracticeStore(tmp_path / "other.sqlite")
    other.keep_player(PLAYER)
    other.keep_passage(PASSAGE, [shift_card(1), shift_card(2)])
    other.keep_take(take(2, instant(2, 12)), drafts(attempt("s1")))
    assert [one.cold for one in other.attempts_at(player=PLAYER.key, shift="s1")] == [True]
    import_record(other, tmp_path / "out")
    assert [one.cold for one in other.attempts_at(player=PLAYER.key, shift="s1")] == [False]
    other.close()


def test_a_trace_whose_runs_differ_in_length_is_refused(full: SqlPracticeStore, tmp_path: Path) -> None:
    export_json(full, tmp_path / "out.json")
    document = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    document["traces"][0]["cents"] = "1 2"
    (tmp_path / "out.json").write_text(json.dumps(document), encoding="utf-8")
    other = SqlPracticeStore(tmp_path / "other.sqlite")
    with pytest.raises(StoreError, match="3 times and 2 cents"):
        import_record(other, tmp_path / "out.json")
    other.close()
