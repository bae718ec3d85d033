use super::*;
use crate::store::sample::{at, column, person, records};

const CODE: Hash = [1; 32];
const TOKEN: Hash = [2; 32];

#[test]
fn a_code_is_good_once_for_a_day_and_for_one_person() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    set_code(&c, &person("ada"), &CODE, at(0)).unwrap();
    let good = |who, hash, hours| is_code_good(&c, &person(who), hash, at(hours)).unwrap();
    assert!(good("ada", &CODE, 0));
    assert!(good("ada", &CODE, 23));
    assert!(!good("ada", &CODE, 24), "after a day");
    assert!(!good("ada", &CODE, -1), "by a clock that was ahead");
    assert!(!good("gil", &CODE, 0), "somebody else's");
    assert!(!good("ada", &TOKEN, 0), "another code");
    let set = |hours| set_password(&c, &person("ada"), &CODE, "hash", at(hours)).unwrap();
    assert!(set(1));
    assert!(!set(1), "it was used");
    assert_eq!(
        password(&c, &person("ada")).unwrap().as_deref(),
        Some("hash")
    );
    assert_eq!(password(&c, &person("gil")).unwrap(), None);
}

#[test]
fn a_newer_code_takes_the_place_of_the_one_before() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    set_code(&c, &person("ada"), &CODE, at(0)).unwrap();
    set_code(&c, &person("ada"), &TOKEN, at(1)).unwrap();
    assert!(!is_code_good(&c, &person("ada"), &CODE, at(1)).unwrap());
    assert!(is_code_good(&c, &person("ada"), &TOKEN, at(1)).unwrap());
}

#[test]
fn a_session_ends_unused_after_thirty_days_and_used_after_a_hundred_and_eighty() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    begin_session(&c, &person("ada"), &TOKEN, at(0)).unwrap();
    let session = |days: i64| session(&c, &TOKEN, at(24 * days)).unwrap();
    assert_eq!(session(0), Some((person("ada"), false)));
    assert_eq!(session(29), Some((person("ada"), true)));
    assert_eq!(session(30), None);
    assert_eq!(session(-1), None, "by a clock that was ahead");
    for days in (0..180).step_by(20) {
        assert!(session(days).is_some(), "day {days}");
        note_use(&c, &TOKEN, at(24 * days)).unwrap();
    }
    assert!(session(179).is_some());
    assert_eq!(session(180), None);
}

#[test]
fn a_new_password_ends_all_sessions_of_that_person_and_nobody_elses() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    begin_session(&c, &person("ada"), &[3; 32], at(0)).unwrap();
    begin_session(&c, &person("ada"), &[4; 32], at(0)).unwrap();
    begin_session(&c, &person("gil"), &[5; 32], at(0)).unwrap();
    set_code(&c, &person("ada"), &CODE, at(0)).unwrap();
    assert!(set_password(&c, &person("ada"), &CODE, "hash", at(0)).unwrap());
    assert_eq!(sessions_of(&c, &person("ada")).unwrap(), 0);
    assert_eq!(sessions_of(&c, &person("gil")).unwrap(), 1);
    assert_eq!(end_sessions(&c, None).unwrap(), 1);
}

#[test]
fn who_is_declared_no_more_has_no_session() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    begin_session(&c, &person("ada"), &[3; 32], at(0)).unwrap();
    begin_session(&c, &person("gil"), &[4; 32], at(0)).unwrap();
    end_sessions_but_of(&c, &[person("ada"), person("sam")]).unwrap();
    assert_eq!(column(&c, "SELECT person FROM page_session"), ["ada"]);
}

#[test]
fn what_has_ended_by_itself_is_forgotten() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    begin_session(&c, &person("ada"), &[3; 32], at(0)).unwrap();
    begin_session(&c, &person("gil"), &[4; 32], at(24)).unwrap();
    set_code(&c, &person("ada"), &CODE, at(24 * 29)).unwrap();
    set_code(&c, &person("gil"), &CODE, at(24 * 29 + 1)).unwrap();
    prune(&c, at(24 * 30)).unwrap();
    assert_eq!(column(&c, "SELECT person FROM page_session"), ["gil"]);
    assert_eq!(column(&c, "SELECT person FROM page_code"), ["gil"]);
}

#[test]
fn a_new_password_keeps_when_somebody_signed_in_last() {
    let dir = tempfile::tempdir().unwrap();
    let c = records(dir.path());
    for (hours, signs_in) in [(0, true), (5, false)] {
        set_code(&c, &person("ada"), &CODE, at(hours)).unwrap();
        assert!(set_password(&c, &person("ada"), &CODE, "hash", at(hours)).unwrap());
        if signs_in {
            begin_session(&c, &person("ada"), &TOKEN, at(hours + 1)).unwrap();
        }
    }
    let expected = Key {
        person: person("ada"),
        set_at: at(5),
        signed_in_at: Some(at(1)),
    };
    assert_eq!(keys(&c).unwrap(), [expected]);
}
