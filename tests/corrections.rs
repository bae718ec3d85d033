//! What a season with late corrections of its feed makes of the alerts: how many draw a correction, and that
//! each says why.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use duskflight_core::ledger::Value;
use mail_parser::MessageParser;
use rusqlite::Connection;

use crate::harness::{played_demo, rows};

/// One telling to a person that changed what they were told before.
#[derive(Debug)]
struct Revision {
    person: String,
    block: String,
    event: String,
    day: NaiveDate,
    was: Value,
    /// `None` for a withdrawal.
    now: Option<Value>,
    /// The mail that told what is changed here.
    of_mail: String,
    mail: String,
    /// The day on which the same date was corrected before, since it was last withdrawn.
    corrected_before: Option<NaiveDate>,
}

/// The telling before, while the ledger is gone through.
struct Last {
    key: [String; 3],
    value: Option<Value>,
    mail: String,
    corrected: Option<NaiveDate>,
}

fn database() -> Connection {
    Connection::open(played_demo().join("duskflight.sqlite")).unwrap()
}

/// All changes of what was told, found from the values alone: whatever word the ledger has for them.
fn revisions() -> Vec<Revision> {
    let ledger = "SELECT person, block, event, value, day, coalesce(mail, '') FROM told
                  ORDER BY person, block, insect, event, revision";
    let mut revisions = Vec::new();
    let mut last: Option<Last> = None;
    for row in rows(&database(), ledger) {
        let [person, block, event, value, day, mail] = row.try_into().unwrap();
        let key = [&person, &block, &event].map(Clone::clone);
        let day: NaiveDate = day.parse().unwrap();
        let now: Option<Value> = (!value.is_empty()).then(|| value.parse().unwrap());
        let before = last.take().filter(|last| last.key == key);
        let mut corrected = before.as_ref().and_then(|before| before.corrected);
        if let Some(Last {
            value: Some(was),
            mail: of_mail,
            corrected: corrected_before,
            ..
        }) = before
            && now.is_none_or(|now| was.is_left_by(now))
        {
            corrected = now.map(|_| day);
            revisions.push(Revision {
                person,
                block,
                event,
                day,
                was,
                now,
                of_mail,
                mail: mail.clone(),
                corrected_before,
            });
        }
        last = Some(Last {
            key,
            value: now,
            mail,
            corrected,
        });
    }
    revisions
}

/// The text of a mail, each paragraph or point on one line.
fn lines_of(message_id: &str) -> Vec<String> {
    let body: Vec<u8> = database()
        .query_row(
            "SELECT body FROM mail_content WHERE message_id = ?1",
            [message_id],
            |row| row.get(0),
        )
        .unwrap();
    let mail = MessageParser::default().parse(&body).unwrap();
    let mut lines: Vec<String> = Vec::new();
    for line in mail.body_text(0).unwrap().lines() {
        let bare = line.trim();
        let goes_on = line.starts_with("  ") && !bare.starts_with("- ");
        match lines.last_mut().filter(|last| goes_on && !last.is_empty()) {
            Some(last) => *last = format!("{last} {bare}").trim_start().to_owned(),
            None => lines.push(bare.to_owned()),
        }
    }
    lines
}

fn is_alert(mail: &str) -> bool {
    mail.starts_with("<alert.")
}

/// Corrections of a mark as passed that follow one of the same mark as near within a week: two events of the
/// ledger, one date to a grower.
fn soon_after(revisions: &[Revision]) -> usize {
    let mark = |revision: &Revision| {
        let (_, mark) = revision.event.split_once(':')?;
        Some((
            revision.person.clone(),
            revision.block.clone(),
            mark.to_owned(),
        ))
    };
    let of = |kind: &'static str| {
        let corrected = revisions
            .iter()
            .filter(|revision| is_alert(&revision.mail) && revision.now.is_some());
        corrected.filter(move |revision| revision.event.starts_with(kind))
    };
    let follows = |passed: &&Revision| {
        of("mark-near:").any(|near| {
            mark(near) == mark(passed) && (0..7).contains(&(passed.day - near.day).num_days())
        })
    };
    of("mark-passed:").filter(follows).count()
}

#[test]
fn of_all_alerts_of_a_season_few_draw_a_correction() {
    let revisions = revisions();
    let to_growers = || revisions.iter().filter(|revision| is_alert(&revision.mail));
    let drew: BTreeSet<&str> = to_growers()
        .map(|revision| revision.of_mail.as_str())
        .collect();
    let alerts: usize = rows(
        &database(),
        "SELECT count(*) FROM outbox WHERE kind = 'alert'",
    )[0][0]
        .parse()
        .unwrap();
    let dates: usize = rows(
        &database(),
        "SELECT count(*) FROM told WHERE mail GLOB '<alert.*' AND change = 'new'",
    )[0][0]
        .parse()
        .unwrap();
    let withdrawn = to_growers()
        .filter(|revision| revision.now.is_none())
        .count();
    println!(
        "alerts {alerts}, of which {} drew a correction; key dates told {dates}, corrected {}, withdrawn {withdrawn}",
        drew.len(),
        to_growers().count() - withdrawn
    );
    println!(
        "corrections of a mark, near and passed, within a week: {}",
        soon_after(&revisions)
    );
    for revision in to_growers() {
        println!(
            "  {} {} {} {:?}",
            revision.day, revision.block, revision.event, revision.now
        );
    }
    // The feed of the demo corrects twelve days of May late, and a sheet of April comes late.
    assert!(!drew.is_empty());
    assert!(drew.len() * 4 <= alerts, "{} of {alerts}", drew.len());
}

/// The lines of a mail that correct something, each with the reason that it gives.
fn corrected_lines(mail: &str) -> Vec<(String, Option<String>)> {
    let mut lines = lines_of(mail);
    if !is_alert(mail) {
        // Below it stand the subjects of growers' alerts, which give no reasons.
        lines = section(lines, "NEW", "Growers will hear");
    }
    let corrected = lines
        .iter()
        .filter(|line| line.contains(" corrected: ") || line.contains(" turned: "));
    let reason = |line: &String| {
        let reason = line.split_once("; since then ").map(|(_, reason)| reason);
        (line.clone(), reason.map(str::to_owned))
    };
    corrected.map(reason).collect()
}

/// The lines between two others.
fn section(lines: Vec<String>, after: &str, before: &str) -> Vec<String> {
    let from = lines.into_iter().skip_while(|line| line != after);
    from.take_while(|line| !line.starts_with(before) && line != "TROUBLE")
        .collect()
}

#[test]
fn every_correction_of_a_season_says_why() {
    let of_dates = |revision: &&Revision| !revision.event.starts_with("margin-turned");
    let revisions = revisions();
    let corrected = revisions
        .iter()
        .filter(of_dates)
        .filter(|revision| revision.now.is_some());
    let mails: BTreeSet<&str> = corrected.map(|revision| revision.mail.as_str()).collect();
    let mut reasons: BTreeMap<String, usize> = BTreeMap::new();
    for mail in mails {
        let lines = corrected_lines(mail);
        assert!(!lines.is_empty(), "{mail}: {:#?}", lines_of(mail));
        for (line, reason) in lines
            .into_iter()
            .filter(|(line, _)| !line.contains(" turned: "))
        {
            let reason = reason.filter(|reason| reason.split(' ').count() >= 4);
            let reason = reason.unwrap_or_else(|| panic!("{mail}: no reason for {line}"));
            assert!(!reason.contains("reason"), "{mail}: {reason}");
            *reasons.entry(reason).or_default() += 1;
        }
    }
    println!("{reasons:#?}");
    let named = |word: &str| reasons.keys().any(|reason| reason.contains(word));
    assert!(
        named("station days between") && named("more counts date it otherwise"),
        "{reasons:#?}"
    );
}

#[test]
fn every_withdrawal_of_a_season_says_what_holds_now() {
    let revisions = revisions();
    let withdrawn = revisions.iter().filter(|revision| revision.now.is_none());
    let mails: BTreeSet<&str> = withdrawn.map(|revision| revision.mail.as_str()).collect();
    assert!(!mails.is_empty());
    for mail in mails {
        let lines = lines_of(mail);
        let said = lines.iter().filter_map(|line| line.split_once("; now: "));
        let said: Vec<&str> = said.map(|(_, now)| now).collect();
        assert!(!said.is_empty(), "{mail}: {lines:#?}");
        assert!(
            said.iter().all(|now| now.split(' ').count() >= 3),
            "{mail}: {said:?}"
        );
    }
}

#[test]
fn no_date_of_a_season_is_corrected_twice_within_a_week_but_for_one_that_passed_or_is_ahead_again()
{
    let is_range = |value: Value| matches!(value, Value::Range { .. });
    let moved = |revision: &&Revision| {
        let now = revision.now;
        now.is_some_and(|now| is_range(now) == is_range(revision.was))
    };
    for revision in revisions().iter().filter(moved) {
        let rested = revision
            .corrected_before
            .map(|before| (revision.day - before).num_days());
        assert!(rested.is_none_or(|days| days >= 7), "{revision:?}");
    }
}
