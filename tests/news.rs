//! Each kind of news has a page of the guide, and each page a kind.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use duskflight_core::ledger::EventKind;

/// What stands in the digest alone and is no event of the ledger.
const IN_DIGEST: [&str; 10] = [
    "entered-late",
    "station-stale",
    "gap-estimated",
    "value-not-used",
    "value-revised",
    "feed-trouble",
    "mail-trouble",
    "configuration-trouble",
    "disk-trouble",
    "file-trouble",
];

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../deploy/guide/news")
}

fn kinds() -> BTreeSet<String> {
    let events = EventKind::ALL.map(EventKind::name);
    let all = events.into_iter().chain(IN_DIGEST);
    all.map(str::to_owned).collect()
}

#[test]
fn every_kind_has_its_page_and_every_page_a_kind() {
    let files = fs::read_dir(folder()).unwrap();
    let names = files.map(|file| file.unwrap().file_name().into_string().unwrap());
    let pages: BTreeSet<String> = names
        .filter(|name| name != "README.md")
        .map(|name| name.trim_end_matches(".md").to_owned())
        .collect();
    assert_eq!(pages, kinds());
}

#[test]
fn every_page_says_when_to_whom_and_what_and_stands_in_the_table() {
    let table = fs::read_to_string(folder().join("README.md")).unwrap();
    for kind in kinds() {
        let page = fs::read_to_string(folder().join(format!("{kind}.md"))).unwrap();
        for part in [
            "**When.**",
            "**To whom.**",
            "**What it says.** `",
            "**Corrected or withdrawn.**",
        ] {
            assert!(page.contains(part), "{kind}: {part}");
        }
        let row = format!("| [{kind}]({kind}.md): ");
        assert_eq!(table.matches(&row).count(), 1, "{kind}");
    }
}
