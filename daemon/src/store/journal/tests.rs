use duskflight_core::ledger::MailKind;

use super::*;
use crate::store::outbox::{self, NewMail};
use crate::store::sample::{at, column, mail, records};

const DAYS_A_YEAR: i64 = 365;

fn send(connection: &Connection, mail: &NewMail) {
    outbox::queue(connection, mail).unwrap();
    outbox::mark_sent(connection, &mail.message_id, "taken", mail.queued_at).unwrap();
}

fn digest(id: &str, days: i64) -> NewMail {
    mail(id, MailKind::Digest, "ada", days)
}

fn lines(journal: &Path) -> usize {
    fs::read_to_string(journal).unwrap().lines().count()
}

#[test]
fn what_left_under_another_domain_is_not_sent_again_and_keeps_what_it_told() {
    let dir = tempfile::tempdir().unwrap();
    let journal = dir.path().join("journal");
    let before = records(&dir.path().join("."));
    send(&before, &digest("<a@old.example>", 0));
    before
        .execute_batch(
            "INSERT INTO told VALUES (2022, 'b', 'now', 'start', 'ada', 1, '2022-04-20', '2022-06-20', \
             '<a@old.example>', 'new', 1)",
        )
        .unwrap();
    match_up(&before, &journal, at(1)).unwrap();

    let put_back = tempfile::tempdir().unwrap();
    let put_back = records(put_back.path());
    outbox::queue(&put_back, &digest("<a@new.example>", 0)).unwrap();
    let matched = match_up(&put_back, &journal, at(2)).unwrap();
    assert_eq!((matched.learnt.len(), matched.written), (1, 0));
    assert_eq!(
        column(&put_back, "SELECT message_id || ' ' || state FROM outbox"),
        ["<a@new.example> sent"]
    );
    assert_eq!(
        column(&put_back, "SELECT mail FROM told"),
        ["<a@new.example>"]
    );
    let matched = match_up(&put_back, &journal, at(3)).unwrap();
    assert_eq!((matched.learnt.len(), matched.written), (0, 1));
    let matched = match_up(&put_back, &journal, at(4)).unwrap();
    assert_eq!(matched, Matched::default());
}

#[test]
fn two_seasons_are_kept_and_what_was_pruned_is_neither_written_nor_learnt_again() {
    let dir = tempfile::tempdir().unwrap();
    let journal = dir.path().join("journal");
    let connection = records(dir.path());
    for (id, days) in [("old", 0), ("last", DAYS_A_YEAR), ("this", 2 * DAYS_A_YEAR)] {
        let day_s = 24 * days;
        send(&connection, &digest(id, days));
        match_up(&connection, &journal, at(day_s + 1)).unwrap();
    }
    assert_eq!(lines(&journal), 3);
    let now = at(24 * 2 * DAYS_A_YEAR + 2);
    prune(&journal, now).unwrap();
    assert_eq!(lines(&journal), 2);
    assert_eq!(
        match_up(&connection, &journal, now).unwrap(),
        Matched::default()
    );
    // A database put back learns those two, and an old line that came back teaches nobody.
    let line = fs::read_to_string(&journal).unwrap();
    let old = line.lines().next().unwrap().replace("last", "old");
    let sent_at = |hours| at(hours).timestamp().to_string();
    let old = old.replace(&sent_at(24 * DAYS_A_YEAR), &sent_at(0));
    fs::write(&journal, format!("{line}{old}\n")).unwrap();
    let put_back = tempfile::tempdir().unwrap();
    let put_back = records(put_back.path());
    assert_eq!(match_up(&put_back, &journal, now).unwrap().learnt.len(), 2);
    assert_eq!(
        column(&put_back, "SELECT message_id FROM outbox ORDER BY place"),
        ["last", "this"]
    );
}
