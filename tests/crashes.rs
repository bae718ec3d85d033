//! Killed at random and taken up again, a season tells the same to the byte.

use std::path::Path;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rusqlite::Connection;

use crate::daemon::wait_for;
use crate::harness::{duskflight, played_demo, printed};
use crate::season::ledger;

#[test]
#[ignore = "takes minutes; tests/long runs it"]
fn a_season_killed_ten_times_and_finished_tells_the_same_as_one_undisturbed() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().to_str().unwrap();
    let mut dice = ChaCha8Rng::seed_from_u64(20_220_301);
    let mut moments: Vec<usize> = (0..10).map(|_| dice.random_range(1..280)).collect();
    moments.sort_unstable();
    for mails in moments {
        let mut child = duskflight()
            .args(["demo", "--dir", path])
            .stdout(std::process::Stdio::null())
            .spawn()
            .unwrap();
        wait_for("so many mails have left", || sent(dir.path()) >= mails);
        assert!(child.try_wait().unwrap().is_none(), "the season is over");
        // SIGKILL: no handler, no clean-up.
        child.kill().unwrap();
        child.wait().unwrap();
    }
    printed(&["demo", "--dir", path]);
    let disturbed = Connection::open(dir.path().join("duskflight.sqlite")).unwrap();
    let undisturbed = Connection::open(played_demo().join("duskflight.sqlite")).unwrap();
    let expected = ledger(&undisturbed);
    assert!(expected.len() > 250);
    assert_eq!(ledger(&disturbed), expected);
    let mails = |dir: &Path| -> Vec<(String, Vec<u8>)> {
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

/// How many mails a season has sent so far.
fn sent(dir: &Path) -> usize {
    std::fs::read_dir(dir.join("mail")).map_or(0, Iterator::count)
}
