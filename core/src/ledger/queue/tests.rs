use super::*;
use crate::ledger::{AwaitedDigest, MailState};

fn at(hours: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(1_655_730_000 + hours * 3600, 0).unwrap()
}

fn on(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, 6, day).unwrap()
}

fn person(id: &str) -> PersonId {
    PersonId::new(id).unwrap()
}

/// A mail of 20 June about Ada's blocks, queued at hour 0, that waits for nothing.
fn mail(id: &str, kind: MailKind, who: &str) -> QueuedMail {
    QueuedMail {
        message_id: id.to_owned(),
        kind,
        person: person(who),
        adviser: Some(person("ada")),
        day: on(20),
        about: String::new(),
        state: MailState::Queued,
        queued_at: at(0),
        waits_for: Vec::new(),
        hold: TimeDelta::hours(4),
        in_hand: InHand::Nobody,
        touched: false,
        composed: true,
        attempts: 0,
        first_try: None,
        next_try: at(0),
        doubtful: false,
        unknown_since: None,
        error: None,
        sent_at: None,
    }
}

fn alert() -> QueuedMail {
    mail("alert", MailKind::Alert, "gil")
}

/// An alert that waits for digests, each sent at an hour or not yet.
fn after(digests: &[Option<i64>]) -> QueuedMail {
    let digests = digests.iter().enumerate();
    let awaited = digests.map(|(n, sent)| AwaitedDigest {
        message_id: format!("digest-{n}"),
        adviser: Some(person("ada")),
        sent_at: sent.map(at),
    });
    QueuedMail {
        waits_for: awaited.collect(),
        ..alert()
    }
}

fn held(since: i64) -> InHand {
    let (since, by) = (at(since), "ada".to_owned());
    InHand::Held { since, by }
}

fn released(since: i64) -> InHand {
    let (since, by) = (at(since), "ada".to_owned());
    InHand::Released { since, by }
}

fn since(hours: i64) -> Leaves {
    Leaves::AtOnce { since: at(hours) }
}

fn after_digest(latest: i64) -> Leaves {
    Leaves::AfterDigest {
        hold: TimeDelta::hours(4),
        latest: at(latest),
    }
}

fn stuck(since: i64, until: i64, because: Obstacle) -> Leaves {
    Leaves::Stuck {
        since: at(since),
        until: at(until),
        because,
    }
}

fn leaves_alone(mail: QueuedMail, no_way_until: Option<i64>, now: i64) -> Leaves {
    let queue = Queue::new(vec![mail], no_way_until.map(at));
    leaves(&queue.mails()[0], &queue, at(now))
}

#[test]
fn a_mail_alone_leaves_when_what_it_waits_for_is_over_and_a_try_may_be_made() {
    let tried = |next_try| QueuedMail {
        attempts: 1,
        next_try: at(next_try),
        ..alert()
    };
    let in_hand = |in_hand, mail| QueuedMail { in_hand, ..mail };
    let not_composed = |mail| QueuedMail {
        composed: false,
        ..mail
    };
    let by = "ada".to_owned();
    let held_since_2 = Leaves::Held { since: at(2), by };
    for (name, mail, no_way_until, now, expected) in [
        ("waits for nothing", alert(), None, 3, since(0)),
        (
            "queued later than now",
            alert(),
            None,
            -1,
            Leaves::NotBefore(at(0)),
        ),
        ("digest not sent", after(&[None]), None, 3, after_digest(28)),
        ("digest never sent", after(&[None]), None, 28, since(28)),
        (
            "one of two sent",
            after(&[Some(1), None]),
            None,
            9,
            after_digest(28),
        ),
        (
            "hold not over",
            after(&[Some(1)]),
            None,
            4,
            Leaves::NotBefore(at(5)),
        ),
        ("hold over", after(&[Some(1), Some(2)]), None, 6, since(6)),
        (
            "digest sent very late",
            after(&[Some(27)]),
            None,
            28,
            since(28),
        ),
        (
            "held",
            in_hand(held(2), after(&[None])),
            None,
            99,
            held_since_2,
        ),
        (
            "released",
            in_hand(released(2), after(&[None])),
            None,
            3,
            since(0),
        ),
        (
            "its try failed",
            tried(9),
            None,
            8,
            stuck(0, 9, Obstacle::Recipient),
        ),
        ("its pause is over", tried(9), None, 9, since(0)),
        ("no way", alert(), Some(5), 4, stuck(0, 5, Obstacle::Way)),
        ("the way is tried again", alert(), Some(5), 5, since(0)),
        (
            "no way, not free yet",
            after(&[None]),
            Some(5),
            4,
            after_digest(28),
        ),
        (
            "no bytes",
            not_composed(alert()),
            Some(5),
            4,
            Leaves::NotComposed { since: at(0) },
        ),
        (
            "no bytes, not free yet",
            not_composed(after(&[None])),
            None,
            4,
            after_digest(28),
        ),
    ] {
        assert_eq!(leaves_alone(mail, no_way_until, now), expected, "{name}");
    }
}

/// The Message-ID of the mail behind which each waits; `-` where it waits behind none.
fn behind(mails: Vec<QueuedMail>) -> Vec<String> {
    let queue = Queue::new(mails, None);
    let mails = queue.mails().iter();
    mails
        .map(|mail| match leaves(mail, &queue, at(50)) {
            Leaves::Behind { message_id } => message_id,
            Leaves::Held { .. } => "held".to_owned(),
            _ => "-".to_owned(),
        })
        .collect()
}

#[test]
fn each_persons_mails_keep_their_order_and_nobody_waits_for_somebody_else() {
    let digest = |id| mail(id, MailKind::Digest, "ada");
    let other = mail("other", MailKind::Digest, "bo");
    let failed = QueuedMail {
        attempts: 1,
        next_try: at(99),
        ..digest("first")
    };
    assert_eq!(
        behind(vec![failed, digest("second"), other]),
        ["-", "first", "-"]
    );
}

#[test]
fn a_mail_whose_outcome_is_unknown_holds_nobody_up_and_waits_for_those_before_it() {
    let digest = |id| mail(id, MailKind::Digest, "ada");
    let unknown = QueuedMail {
        attempts: 1,
        next_try: at(99),
        doubtful: true,
        unknown_since: Some(at(1)),
        ..digest("unknown")
    };
    let tried_at_a_crash = QueuedMail {
        unknown_since: None,
        ..unknown.clone()
    };
    let behind_of = |first| behind(vec![first, digest("second"), digest("third")]);
    assert_eq!(behind_of(unknown.clone()), ["-", "-", "second"]);
    assert_eq!(behind_of(tried_at_a_crash), ["-", "unknown", "unknown"]);
    assert_eq!(
        behind(vec![digest("first"), unknown.clone()]),
        ["-", "first"]
    );
    let queue = Queue::new(vec![unknown, digest("second")], None);
    let folded = queue.to_fold(&person("ada"), on(25), TimeDelta::hours(26), at(99));
    let folded: Vec<&str> = folded.iter().map(|mail| &*mail.message_id).collect();
    assert_eq!(
        folded,
        ["second"],
        "what may have been taken is not told anew"
    );
}

#[test]
fn a_digest_passes_held_alerts_and_those_behind_them_and_nothing_else_does() {
    let gils = |id, kind| mail(id, kind, "gil");
    let held_alert = QueuedMail {
        in_hand: held(0),
        ..gils("held", MailKind::Alert)
    };
    let before = gils("before", MailKind::Alert);
    let later = gils("later", MailKind::Summary);
    let digest = gils("digest", MailKind::Digest);
    let letter = gils("letter", MailKind::Letter);
    assert_eq!(
        behind(vec![held_alert.clone(), later.clone(), digest.clone()]),
        ["held", "held", "-"]
    );
    assert_eq!(
        behind(vec![before, held_alert.clone(), digest.clone()]),
        ["-", "held", "before"]
    );
    assert_eq!(
        behind(vec![held_alert, letter, digest]),
        ["held", "held", "letter"]
    );
}

#[test]
fn what_waits_for_a_release_is_neither_the_oldest_nor_folded_nor_stuck() {
    let held_alert = QueuedMail {
        in_hand: held(0),
        ..mail("held", MailKind::Alert, "gil")
    };
    let behind = mail("behind", MailKind::Alert, "gil");
    let digest = QueuedMail {
        queued_at: at(24),
        ..mail("digest", MailKind::Digest, "ada")
    };
    let queue = Queue::new(vec![held_alert, behind, digest], None);
    let [held_alert, behind, digest] = queue.mails() else {
        unreachable!("three were queued")
    };
    assert_eq!(queue.kept_by(behind), Some(held_alert));
    assert_eq!(queue.kept_by(digest), None);
    assert_eq!(queue.oldest(), Some(at(24)));
    assert_eq!(queue.waits_since(behind, at(99)), None);
    assert_eq!(queue.waits_since(digest, at(99)), Some(at(24)));
    let day = TimeDelta::days(1);
    assert!(
        queue
            .to_fold(&person("gil"), on(25), day, at(99))
            .is_empty()
    );
    let folded = queue.to_fold(&person("ada"), on(25), day, at(99));
    assert_eq!(folded, [digest]);
}

/// Which of three alerts of Gil's, of 20, 21 and 22 June, are folded on a day.
fn folded(change: impl Fn(&mut [QueuedMail; 3]), today: u32) -> Vec<String> {
    let mut mails = [20, 21, 22].map(|day| {
        let queued_at = at(24 * (i64::from(day) - 20));
        QueuedMail {
            day: on(day),
            queued_at,
            next_try: queued_at,
            ..mail(&format!("{day}"), MailKind::Alert, "gil")
        }
    });
    change(&mut mails);
    let queue = Queue::new(mails.to_vec(), None);
    let now = at(24 * (i64::from(today) - 20));
    let folded = queue.to_fold(&person("gil"), on(today), TimeDelta::hours(26), now);
    folded.iter().map(|mail| mail.message_id.clone()).collect()
}

#[test]
fn once_one_mail_is_stuck_all_that_certainly_were_not_taken_or_touched_are_folded() {
    assert_eq!(folded(|_| {}, 21), [""; 0], "a day is no trouble yet");
    assert_eq!(folded(|_| {}, 22), ["20", "21"], "today's own stays");
    assert_eq!(folded(|_| {}, 23), ["20", "21", "22"]);
    assert_eq!(folded(|mails| mails[0].doubtful = true, 23), ["21", "22"]);
    assert_eq!(folded(|mails| mails[1].touched = true, 23), ["20", "22"]);
    assert_eq!(
        folded(|mails| mails[1].in_hand = released(30), 23),
        ["20", "22"]
    );
    assert_eq!(folded(|mails| mails[0].in_hand = held(1), 23), [""; 0]);
    assert_eq!(folded(|mails| mails[1].in_hand = held(30), 23), ["20"]);
    assert_eq!(
        folded(|mails| mails[0].kind = MailKind::Test, 23),
        ["21", "22"]
    );
    assert_eq!(folded(|mails| mails[0].composed = false, 22), ["20", "21"]);
    let waits = |mails: &mut [QueuedMail; 3]| mails[0].waits_for = after(&[None]).waits_for;
    assert_eq!(folded(waits, 22), [""; 0], "free since hour 28 only");
    assert_eq!(folded(waits, 23), ["20", "21", "22"]);
}

#[test]
fn the_next_mail_is_the_oldest_that_leaves_at_once() {
    let tried = QueuedMail {
        attempts: 1,
        next_try: at(9),
        ..mail("tried", MailKind::Digest, "ada")
    };
    let behind = mail("behind", MailKind::Digest, "ada");
    let other = mail("other", MailKind::Digest, "bo");
    let queue = Queue::new(vec![tried, behind, other], None);
    let next = |hours| queue.next(at(hours)).map(|mail| mail.message_id.as_str());
    assert_eq!(
        (next(-1), next(8), next(9)),
        (None, Some("other"), Some("tried"))
    );
}

#[test]
fn late_is_what_was_sent_after_the_latest_instant_unless_somebody_had_it_in_hand() {
    let sent = |hours, mail: QueuedMail| QueuedMail {
        sent_at: Some(at(hours)),
        ..mail
    };
    let slack = TimeDelta::hours(2);
    let in_hand = QueuedMail {
        in_hand: released(90),
        ..alert()
    };
    for (mail, late) in [
        (alert(), false),
        (sent(2, alert()), false),
        (sent(3, alert()), true),
        (sent(30, after(&[Some(1)])), false),
        (sent(31, after(&[Some(1)])), true),
        (sent(99, in_hand), false),
    ] {
        assert_eq!(mail.was_late(slack), late, "{mail:?}");
    }
}
