//! The arrows of the house: `core`'s rooms point one way, and neither files nor rooms of the daemon use
//! each other in a circle. Code that only tests compile is exempt, since a test may look from anywhere.

mod files;
mod source;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use files::{Arrow, Files, circles};

/// The rooms of `core`; each may use those before it.
const ROOMS: [&str; 15] = [
    "id",
    "statistics",
    "same_day",
    "temperature",
    "weather",
    "heat",
    "orchard",
    "insect",
    "trapping",
    "season",
    "ledger",
    "wording",
    "contents",
    "answer",
    // The root, which only declares them.
    "lib",
];

#[test]
fn the_rooms_of_core_point_one_way() {
    let wrong = outward(&Files::of(&sources("core/src")));
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn no_files_of_the_daemon_use_each_other_in_a_circle_and_no_rooms_either() {
    let files = Files::of(&sources("daemon/src")).arrows();
    let mut found = circles(&files);
    found.extend(circles(&between_rooms(&files)));
    let count = found.len();
    assert!(count == 0, "{count} circles\n\n{}", found.join("\n\n"));
}

/// The sources below a folder of the repository, by their path in it.
fn sources(folder: &str) -> BTreeMap<PathBuf, String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("..")
        .join(folder);
    let mut sources = BTreeMap::new();
    let mut folders = vec![root.clone()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("a folder of sources") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                let name = path.strip_prefix(&root).expect("it is below").to_owned();
                sources.insert(name, fs::read_to_string(path).expect("a source"));
            }
        }
    }
    sources
}

/// The arrows of `core` that point to a room after their own.
fn outward(files: &Files) -> Vec<String> {
    let arrows = between_rooms(&files.arrows());
    let outward = arrows
        .iter()
        .filter(|arrow| place(&arrow.to) > place(&arrow.from));
    outward.map(Arrow::to_string).collect()
}

/// The arrows that leave a room, as arrows of rooms.
fn between_rooms(files: &[Arrow]) -> Vec<Arrow> {
    let rooms = files.iter().map(|arrow| Arrow {
        from: room(&arrow.from),
        to: room(&arrow.to),
        by: arrow.to_string(),
    });
    rooms.filter(|arrow| arrow.from != arrow.to).collect()
}

/// The room that a file belongs to: its folder below the root, or itself.
fn room(file: &Path) -> PathBuf {
    let first = file.iter().next().expect("a file has a name");
    Path::new(first).with_extension("")
}

fn place(room: &Path) -> usize {
    let place = ROOMS.iter().position(|known| Path::new(known) == room);
    place.unwrap_or_else(|| panic!("the room {} has no place", room.display()))
}

fn house(files: &[(&str, &str)]) -> Files {
    let sources = files
        .iter()
        .map(|(name, text)| (PathBuf::from(name), (*text).to_owned()));
    Files::of(&sources.collect())
}

#[test]
fn a_wrong_arrow_is_found_however_it_is_written() {
    for line in [
        "use crate::contents::Digest;",
        "use crate::{contents::{Digest as D}, heat};",
        "fn f() -> crate::contents::Digest { todo!() }",
        "fn f() { println!(\"{}\", crate::contents::Digest::new()) }",
        "use crate::contents; fn f(d: contents::Digest) {}",
        "use super::contents::*; fn f(d: Digest) {}",
        "fn f() { use super::contents as c; c::Digest::new() }",
    ] {
        let files = house(&[
            ("lib.rs", "pub mod contents; pub mod heat; pub mod ledger;"),
            ("contents/mod.rs", "mod digest; pub use digest::Digest;"),
            (
                "contents/digest.rs",
                "use crate::ledger; pub struct Digest;",
            ),
            ("heat.rs", ""),
            ("ledger.rs", line),
        ]);
        let wrong = outward(&files);
        assert_eq!(wrong.len(), 1, "{line}: {wrong:?}");
        let arrow = "ledger → contents by ledger.rs → contents/digest.rs by ";
        assert!(wrong[0].starts_with(arrow), "{wrong:?}");
    }
}

#[test]
fn what_is_no_arrow_is_not_taken_for_one() {
    for line in [
        "// crate::contents::Digest",
        "/// See [`crate::contents::Digest`].\nstruct S;",
        "const S: &str = \"crate::contents::Digest\";",
        "#[cfg(test)] mod tests { use crate::contents::Digest; }",
        "#[cfg(test)] use crate::contents::Digest;",
        "use other::contents::Digest;",
        "fn f(d: Other) { d.contents().digest }",
    ] {
        let files = house(&[
            ("lib.rs", "pub mod contents; pub mod ledger;"),
            (
                "contents.rs",
                "use crate::ledger::Event; pub struct Digest;",
            ),
            ("ledger.rs", &format!("pub struct Event; {line}")),
        ]);
        assert_eq!(outward(&files), [] as [&str; 0], "{line}");
        assert_eq!(circles(&files.arrows()), [] as [&str; 0], "{line}");
    }
}

#[test]
fn rooms_run_in_a_circle_also_where_no_files_do() {
    let files = house(&[
        ("lib.rs", "mod a; mod b;"),
        ("a/mod.rs", "mod leaf; mod user; pub use leaf::One;"),
        ("a/leaf.rs", "pub struct One;"),
        ("a/user.rs", "fn three() { crate::b::two() }"),
        ("b.rs", "use crate::a::One; pub fn two(one: One) {}"),
    ]);
    let arrows = files.arrows();
    assert_eq!(circles(&arrows), [] as [&str; 0]);
    let expected = "a → b by a/user.rs → b.rs by crate::b::two\n\
                    b → a by b.rs → a/leaf.rs by crate::a::One";
    assert_eq!(circles(&between_rooms(&arrows)), [expected]);
}

#[test]
fn a_circle_is_named_with_its_way_and_a_facade_is_none() {
    let files = house(&[
        ("lib.rs", "mod a; mod b; mod c;"),
        ("a/mod.rs", "mod inner; pub use inner::one;"),
        ("a/inner.rs", "pub fn one() { crate::b::two() }"),
        ("b.rs", "use crate::c::three; pub fn two() { three() }"),
        ("c.rs", "pub fn three() { crate::a::one() }"),
    ]);
    let expected = "a/inner.rs → b.rs by crate::b::two\n\
                    b.rs → c.rs by crate::c::three\n\
                    c.rs → a/inner.rs by crate::a::one";
    assert_eq!(circles(&files.arrows()), [expected]);
}
