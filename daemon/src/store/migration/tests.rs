use duskflight_core::trapping::NoteKind;

use super::*;
use crate::store::connection::open_connection;
use crate::store::{entries, notes, visits};

#[test]
fn a_newer_schema_is_refused_and_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("records.sqlite");
    drop(open_connection(&path).unwrap());
    let connection = Connection::open(&path).unwrap();
    connection.pragma_update(None, "user_version", 99).unwrap();
    drop(connection);
    let refused = open_connection(&path).unwrap_err();
    assert!(matches!(
        refused,
        StoreError::Newer {
            found: 99,
            known: 5
        }
    ));
}

#[test]
fn a_database_of_an_earlier_schema_becomes_like_a_new_one() {
    let dir = tempfile::tempdir().unwrap();
    let tables = |path: &Path| -> Vec<(String, String)> {
        let connection = open_connection(path).unwrap();
        let mut tables = connection
            .prepare("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name")
            .unwrap();
        let rows = tables.query_map([], |row| Ok((row.get(0)?, row.get(1)?)));
        rows.unwrap().map(Result::unwrap).collect()
    };
    let (old, new) = (dir.path().join("old.sqlite"), dir.path().join("new.sqlite"));
    for steps in 1..MIGRATIONS.len() {
        let connection = Connection::open(&old).unwrap();
        for step in &MIGRATIONS[..steps] {
            connection.execute_batch(step).unwrap();
        }
        connection
            .pragma_update(None, "user_version", steps as i64)
            .unwrap();
        drop(connection);
        assert_eq!(tables(&old), tables(&new));
        std::fs::remove_file(&old).unwrap();
    }
}

#[test]
fn records_of_step_2_keep_their_meaning() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("records.sqlite");
    let old = Connection::open(&path).unwrap();
    for step in &MIGRATIONS[..2] {
        old.execute_batch(step).unwrap();
    }
    old.pragma_update(None, "user_version", 2).unwrap();
    old.execute_batch(
        "INSERT INTO visit VALUES
           ('e1', '2022-04-12', 7, NULL, NULL, NULL, 1, 'bait', 'edge row', 20, 'ada', 'import b.csv', 'bbbb:1'),
           ('p1', '2022-04-12', NULL, NULL, 3, 0, 1, '', '', 10, 'ada', 'import a.csv', 'aaaa:2');
         INSERT INTO visit_history VALUES
           ('e1', '2022-04-12', 3, NULL, NULL, NULL, 1, '', '', 10, 'ada', 'import a.csv', 'aaaa:1', 20);
         INSERT INTO note VALUES
           ('b', '', 'egg-laying-start', '2022-04-20', '2022-04-12', 'own book', 10, 'ada', 'import n.csv', 'cccc:1'),
           ('b', 'Nonpareil', 'hull-split', '2022-07-04', NULL, '', 11, 'ada', 'import n.csv', 'cccc:2'),
           ('b', 'Nonpareil', 'hull-split-expected', '2022-06-01', '2022-07-02', '', 10, 'ben', 'import n.csv', 'cccc:3');
         INSERT INTO note_history VALUES
           ('b', '', 'egg-laying-start', '2022-04-20', '2022-04-13', 'guess', 5, 'ada', 'import m.csv', 'dddd:1', 10);",
    )
    .unwrap();
    drop(old);

    let new = open_connection(&path).unwrap();
    let date = |month, day| chrono::NaiveDate::from_ymd_opt(2022, month, day).unwrap();
    let read = visits::up_to(&new, date(12, 31)).unwrap();
    assert_eq!((read[0].eggs, read[0].eggs_left), (Some(7), false));
    assert_eq!((read[1].males, read[1].moths), (Some(3), None));
    let past = visits::history(&new, None).unwrap();
    assert_eq!(
        (past[0].record.eggs, &past[0].replaced_by, &past[0].why),
        (Some(3), &None, &None)
    );
    let written = notes::up_to(&new, date(12, 31)).unwrap();
    let kinds: Vec<NoteKind> = written.iter().map(|note| note.kind).collect();
    assert_eq!(
        kinds,
        [
            NoteKind::EggLayingStart(date(4, 12)),
            NoteKind::HullSplitExpected(date(7, 2)),
            NoteKind::HullSplit,
        ]
    );
    assert_eq!((&*written[0].text, &*written[1].by), ("own book", "ben"));
    let past = notes::history(&new, None).unwrap();
    assert_eq!(past[0].record.kind, NoteKind::EggLayingStart(date(4, 13)));
    // Their files are known: imported again, they bring nothing back.
    let at = chrono::DateTime::UNIX_EPOCH;
    let known = ["aaaa", "bbbb", "cccc", "dddd", "eeee"]
        .map(|file| entries::importing(&new, file, at).unwrap());
    assert_eq!(known, [true, true, true, true, false]);
}

#[test]
fn mails_and_tellings_of_step_3_keep_their_meaning() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("records.sqlite");
    let old = Connection::open(&path).unwrap();
    for step in &MIGRATIONS[..3] {
        old.execute_batch(step).unwrap();
    }
    old.pragma_update(None, "user_version", 3).unwrap();
    old.execute_batch(
        "INSERT INTO outbox VALUES
           ('<d1@f>', 'digest', 'ada', 'ada', '2022-06-20', 'ada@f', 's', x'41', 100, NULL, 0, 'sent', 1, 0, 100, 100, NULL, 110, '250 ok', NULL),
           ('<a1@f>', 'alert', 'gil', 'ada', '2022-06-20', 'gil@f', 's', x'42', 100, '<d1@f>', 3600, 'queued', 0, 0, NULL, 100, NULL, NULL, NULL, NULL),
           ('<d2@f>', 'digest', 'ada', 'ada', '2022-06-21', 'ada@f', 's', x'43', 200, NULL, 0, 'queued', 2, 0, 200, 200, 'no answer', NULL, NULL, NULL);
         INSERT INTO told VALUES
           (2022, 'b', 'now', 'egg-laying-start', 'ada', 1, '2022-04-20', '2022-06-20', '<d1@f>'),
           (2022, 'b', 'now', 'egg-laying-start', 'ada', 2, '2022-04-24', '2022-06-21', '<d2@f>'),
           (2022, 'b', 'now', 'egg-laying-start', 'gil', 1, '2022-04-20', '2022-06-20', NULL),
           (2022, 'b', 'now', 'start-provisional', 'ada', 1, '2022-04-17', '2022-06-20', '<d1@f>'),
           (2022, 'b', 'now', 'start-provisional', 'ada', 2, NULL, '2022-06-20', '<d1@f>'),
           (2022, 'b', 'now', 'start-provisional', 'ada', 3, '2022-04-20', '2022-06-21', '<d2@f>');",
    )
    .unwrap();
    drop(old);

    let new = open_connection(&path).unwrap();
    let texts = |sql: &str| -> Vec<String> {
        let mut rows = new.prepare(sql).unwrap();
        let rows = rows.query_map([], |row| row.get(0)).unwrap();
        rows.map(Result::unwrap).collect()
    };
    assert_eq!(
        texts("SELECT message_id || ' ' || state || ' ' || doubtful FROM outbox ORDER BY rowid"),
        ["<d1@f> sent 0", "<a1@f> queued 0", "<d2@f> queued 1"]
    );
    assert_eq!(
        texts("SELECT mail || ' waits for ' || digest FROM outbox_wait"),
        ["<a1@f> waits for <d1@f>"]
    );
    assert_eq!(
        texts(
            "SELECT person || ' ' || event || ' ' || revision || ' ' || change FROM told ORDER BY person, event, revision"
        ),
        [
            "ada egg-laying-start 1 new",
            "ada egg-laying-start 2 corrected",
            "ada start-provisional 1 new",
            "ada start-provisional 2 withdrawn",
            "ada start-provisional 3 new",
            "gil egg-laying-start 1 history",
        ]
    );
    let broken: i64 = new
        .query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |row| {
            row.get(0)
        })
        .unwrap();
    assert_eq!(broken, 0);
}
