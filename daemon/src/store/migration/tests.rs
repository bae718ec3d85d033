use std::fs;
use std::path::PathBuf;

use duskflight_core::id::PersonId;
use duskflight_core::ledger::InHand;
use duskflight_core::trapping::NoteKind;

use super::*;
use crate::store::opening::create_connection;
use crate::store::sample::column;
use crate::store::{entries, notes, outbox, visits};

#[test]
fn a_newer_schema_is_refused_and_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("records.sqlite");
    drop(create_connection(&path).unwrap());
    let connection = Connection::open(&path).unwrap();
    connection.pragma_update(None, "user_version", 99).unwrap();
    drop(connection);
    let refused = create_connection(&path).unwrap_err();
    assert!(matches!(
        refused,
        StoreError::Newer {
            found: 99,
            known: 11
        }
    ));
}

#[test]
fn a_database_of_an_earlier_schema_becomes_like_a_new_one() {
    let dir = tempfile::tempdir().unwrap();
    let tables = |path: &Path| -> Vec<(String, String)> {
        let connection = create_connection(path).unwrap();
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

    let new = create_connection(&path).unwrap();
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
            NoteKind::EggLayingStart(date(4, 12).into()),
            NoteKind::HullSplitExpected(date(7, 2)),
            NoteKind::HullSplit,
        ]
    );
    assert_eq!((&*written[0].text, &*written[1].by), ("own book", "ben"));
    let past = notes::history(&new, None).unwrap();
    assert_eq!(
        past[0].record.kind,
        NoteKind::EggLayingStart(date(4, 13).into())
    );
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

    let new = create_connection(&path).unwrap();
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

/// A database of schema 4, in a folder, with mails in every state.
fn of_step_4(folder: &Path) -> PathBuf {
    let path = folder.join("records.sqlite");
    let old = Connection::open(&path).unwrap();
    old.pragma_update(None, "journal_mode", "wal").unwrap();
    for step in &MIGRATIONS[..4] {
        old.execute_batch(step).unwrap();
    }
    old.pragma_update(None, "user_version", 4).unwrap();
    let row = |place: i64,
               id: &str,
               kind,
               who,
               adviser,
               contents: &str,
               hold_s: i64,
               held: &str,
               rest: &str| {
        format!(
            "INSERT INTO outbox (rowid, message_id, kind, person, adviser, day, address, subject, body, contents,
               queued_at, hold_s, held_at, held_by, state, attempts, refusals, doubtful, first_try_at, next_try_at,
               last_error, sent_at, answer, given_up_at)
             VALUES ({place}, '{id}', '{kind}', '{who}', '{adviser}', '2022-06-20', '{who}@f', 's {id}', CAST('body {id}' AS BLOB),
               {contents}, 100, {hold_s}, {held}, {rest});"
        )
    };
    let tried = "'sent', 1, 0, 0, 100, 100, NULL, 110, '250 ok', NULL";
    let waits = "'queued', 0, 0, 0, NULL, 100, NULL, NULL, NULL, NULL";
    let touched = r#"'{"acts":[{"by":"ada"}]}'"#;
    old.execute_batch(
        &[
            row(
                1,
                "<d@f>",
                "digest",
                "ada",
                "ada",
                "NULL",
                0,
                "NULL, NULL",
                tried,
            ),
            row(
                2,
                "<free@f>",
                "alert",
                "gil",
                "ada",
                r#"'{"acts":[]}'"#,
                14400,
                "NULL, NULL",
                waits,
            ),
            row(
                5,
                "<held@f>",
                "alert",
                "hal",
                "ada",
                touched,
                14400,
                "120, 'Ada'",
                waits,
            ),
            row(
                6,
                "<let-go@f>",
                "alert",
                "ida",
                "ada",
                touched,
                -86400,
                "NULL, 'Ben'",
                waits,
            ),
            row(
                7,
                "<sum@f>",
                "summary",
                "fay",
                "",
                "NULL",
                14400,
                "NULL, NULL",
                waits,
            ),
            row(
                8,
                "<gone@f>",
                "letter",
                "gil",
                "ada",
                "NULL",
                14400,
                "NULL, NULL",
                "'failed', 2, 1, 0, 100, 100, 'refused', NULL, NULL, 130",
            ),
            row(
                9,
                "<old@f>",
                "digest",
                "bo",
                "bo",
                "NULL",
                0,
                "NULL, NULL",
                "'folded', 0, 0, 0, NULL, 100, 'folded', NULL, NULL, 140",
            ),
        ]
        .concat(),
    )
    .unwrap();
    old.execute_batch(
        "INSERT INTO outbox_wait VALUES ('<free@f>', '<d@f>'), ('<sum@f>', '<d@f>');
         INSERT INTO told VALUES
           (2022, 'b', 'now', 'start', 'ada', 1, '2022-04-20', '2022-06-20', '<d@f>', 'new', 1),
           (2022, 'b', 'now', 'start', 'gil', 1, '2022-04-20', '2022-06-20', '<gone@f>', 'new', 1),
           (2022, 'b', 'now', 'start', 'hal', 1, '2022-04-20', '2022-06-20', NULL, 'history', 1);
         INSERT INTO job_run VALUES ('tell', '2022-06-20', 'done', 1, 90, 90, 95, NULL);
         INSERT INTO fetch_log VALUES (1, 'a', '2022-01-01', '2022-06-19', 80, 'ok', 170, 3, NULL);",
    )
    .unwrap();
    path
}

#[test]
fn mails_of_step_4_keep_their_place_state_and_bytes_and_a_released_one_says_so() {
    let dir = tempfile::tempdir().unwrap();
    let path = of_step_4(dir.path());
    let told =
        "SELECT person || ' ' || coalesce(mail, '-') || ' ' || change FROM told ORDER BY person";
    let waits = "SELECT mail || ' ' || digest FROM outbox_wait ORDER BY mail";
    let mails = "SELECT rowid || message_id || kind || person || adviser || day || address || subject || state
        || attempts || refusals || doubtful || coalesce(sent_at, '') || coalesce(given_up_at, '')
        || coalesce(answer, '') || coalesce(last_error, '') FROM outbox ORDER BY rowid";
    let old = Connection::open(&path).unwrap();
    let before = [told, waits, mails].map(|sql| column(&old, sql));
    drop(old);

    let new = create_connection(&path).unwrap();
    assert_eq!([told, waits, mails].map(|sql| column(&new, sql)), before);
    assert_eq!(
        column(
            &new,
            "SELECT message_id || ' ' || CAST(body AS TEXT) FROM mail_content JOIN outbox USING (message_id) ORDER BY place"
        )[1],
        "<free@f> body <free@f>"
    );
    assert_eq!(
        column(
            &new,
            "SELECT contents FROM mail_content WHERE contents IS NOT NULL"
        )
        .len(),
        3
    );
    let queue = outbox::read_queue(&new).unwrap();
    let in_hand = |place: usize| {
        let mail = &queue.mails()[place];
        (mail.in_hand.clone(), mail.touched, mail.hold.num_hours())
    };
    let at = |seconds| chrono::DateTime::from_timestamp(seconds, 0).unwrap();
    assert_eq!(in_hand(0), (InHand::Nobody, false, 4));
    let (since, by) = (at(120), "Ada".to_owned());
    assert_eq!(in_hand(1), (InHand::Held { since, by }, true, 4));
    let (since, by) = (at(100), "Ben".to_owned());
    assert_eq!(in_hand(2), (InHand::Released { since, by }, true, 0));
    assert_eq!(queue.mails()[3].advisers(), [PersonId::new("ada").unwrap()]);
    assert!(queue.mails().iter().all(|mail| mail.composed));
    assert_eq!(
        column(&new, "SELECT count(*) FROM pragma_foreign_key_check"),
        ["0"]
    );
    assert_eq!(
        column(&new, "SELECT job || day || state FROM job_run"),
        ["tell2022-06-20done"]
    );
}

#[test]
fn before_a_file_is_brought_up_to_date_it_is_copied_into_its_backups_and_only_then() {
    let dir = tempfile::tempdir().unwrap();
    let names = || {
        let names = fs::read_dir(dir.path()).unwrap();
        let mut names: Vec<String> = names
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .filter(|name| !name.ends_with("-wal") && !name.ends_with("-shm"))
            .collect();
        names.sort();
        names
    };
    drop(create_connection(&dir.path().join("new.sqlite")).unwrap());
    assert_eq!(names(), ["new.sqlite"], "a new file has nothing to copy");

    let path = of_step_4(dir.path());
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
    drop(create_connection(&path).unwrap());
    let copied = ["backups", "new.sqlite", "records.sqlite"];
    assert_eq!(names(), copied);
    let copy = dir.path().join("backups/records-schema-4.sqlite");
    assert_eq!(
        fs::metadata(&copy).unwrap().permissions().mode() & 0o777,
        0o640
    );
    let read = Connection::open(&copy).unwrap();
    assert_eq!(version(&read).unwrap(), 4);
    assert_eq!(column(&read, "SELECT count(*) FROM outbox"), ["7"]);
    drop(read);
    let modified = || fs::metadata(&copy).unwrap().modified().unwrap();
    let before = modified();
    drop(create_connection(&path).unwrap());
    assert_eq!(
        (names(), modified()),
        (copied.map(str::to_owned).to_vec(), before)
    );
}

#[test]
fn without_a_copy_or_with_a_step_that_fails_the_file_stays_as_it_was() {
    let dir = tempfile::tempdir().unwrap();
    let path = of_step_4(dir.path());
    // A folder where the copy should be written.
    let in_the_way = dir.path().join("backups/records-schema-4.sqlite.copying");
    fs::create_dir_all(&in_the_way).unwrap();
    let error = create_connection(&path).unwrap_err();
    assert!(matches!(error, StoreError::Copy { .. }), "{error:?}");
    assert!(error.to_string().contains("records-schema-4.sqlite"));
    fs::remove_dir(in_the_way).unwrap();
    let old = Connection::open(&path).unwrap();
    old.execute_batch("CREATE TABLE mail_content (in_the_way)")
        .unwrap();
    assert!(create_connection(&path).is_err());
    assert_eq!(version(&old).unwrap(), 4);
    assert_eq!(column(&old, "SELECT count(*) FROM outbox"), ["7"]);
}
