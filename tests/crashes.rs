//! Killed at random and taken up again, a season tells the same to the byte.

use std::time::Duration;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rusqlite::Connection;

use crate::harness::{duskflight, played_demo, printed};
use crate::season::ledger;

#[test]
#[ignore = "takes minutes; tests/long runs it"]
fn a_season_killed_ten_times_and_finished_tells_the_same_as_one_undisturbed() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().to_str().unwrap();
    let mut dice = ChaCha8Rng::seed_from_u64(20_220_301);
    let mut killed = 0;
    while killed < 10 {
        let mut child = duskflight()
            .args(["demo", "--dir", path])
            .stdout(std::process::Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(dice.random_range(50..900)));
        match child.try_wait().unwrap() {
            // SIGKILL: no handler, no clean-up.
            None => child.kill().unwrap(),
            Some(status) => panic!("finished with {status} before the kill {killed}"),
        }
        child.wait().unwrap();
        killed += 1;
    }
    printed(&["demo", "--dir", path]);
    let disturbed = Connection::open(dir.path().join("duskflight.sqlite")).unwrap();
    let undisturbed = Connection::open(played_demo().join("duskflight.sqlite")).unwrap();
    let expected = ledger(&undisturbed);
    assert!(expected.len() > 250);
    assert_eq!(ledger(&disturbed), expected);
    let mails = |dir: &std::path::Path| -> Vec<(String, Vec<u8>)> {
        let mut mails: Vec<_> = std::fs::read_dir(dir.join("mail"))
            .unwrap()
            .map(|entry| entry.unwrap())
            .map(|entry| {
                (
                    entry.file_name().to_string_lossy().into_owned(),
                    std::fs::read(entry.path()).unwrap(),
                )
            })
            .filter(|(name, _)| name.ends_with(".eml"))
            .collect();
        mails.sort();
        mails
    };
    assert!(
        mails(dir.path()) == mails(played_demo()),
        "the folders of mails differ"
    );
}
