//! A configuration broken in fifty ways while the daemon runs: each is refused, said with file and line, and the daemon
//! goes on with the one before; the good one put back is taken over.

use std::fs;

use crate::daemon::start;
use crate::dropped::watching;
use crate::harness::{Farm, VISITS, rows};

const MAIN: &str = "duskflight.toml";
const INSECT: &str = "navel-orangeworm.toml";

/// A file with a fault.
struct Broken {
    file: &'static str,
    how: String,
    bytes: Vec<u8>,
}

/// A piece of a file and what a slip makes of it.
const SLIPS: [(&str, &str, &str); 31] = [
    // Keys that are gone.
    (MAIN, "name = \"Test orchards\"\n", ""),
    (MAIN, "timezone = \"America/Los_Angeles\"\n", ""),
    (MAIN, "from = \"duskflight@test.example\"\n", ""),
    (MAIN, "role = \"grower\"\n", ""),
    (MAIN, "email = \"gil@test.example\"\n", ""),
    (MAIN, "min_column = \"low\"\n", ""),
    (MAIN, "life_days = 28\n", ""),
    (INSECT, "id = ", "ident = "),
    // Values of another type, or none.
    (MAIN, "\"Test orchards\"", "7"),
    (MAIN, "history_years = 12", "history_years = \"twelve\""),
    (MAIN, "life_days = 42", "life_days = [42]"),
    (
        MAIN,
        "insects = [\"navel-orangeworm.toml\"]",
        "insects = true",
    ),
    (MAIN, "unit = \"f\"", "unit = \"k\""),
    (MAIN, "role = \"adviser\"", "role = \"\""),
    (MAIN, "email = \"ada@test.example\"", "email = \"ada\""),
    // What is written twice, or is named and not there.
    (MAIN, "id = \"gil\"", "id = \"ada\""),
    (MAIN, "[farm]\n", "[farm]\n[farm]\n"),
    (MAIN, "navel-orangeworm.toml", "navel.toml"),
    (MAIN, "[[product]]", "[[products]]"),
    // Tables.
    ("blocks.csv", "id,name", "id;name"),
    ("blocks.csv", ",station,", ",stations,"),
    ("blocks.csv", ",yard,", ",yrad,"),
    ("blocks.csv", ",almond,", ",almonds,"),
    ("blocks.csv", ",gil,ada,", ",ada,gil,"),
    ("traps.csv", "id,block,kind,hung", "id,block,hung,hung"),
    ("traps.csv", "e2,home", "e1,home"),
    ("traps.csv", "e3,home", "e3,hmoe"),
    (
        "traps.csv",
        "e4,home,egg,2022-03-15",
        "e4,home,egg,15.3.2022",
    ),
    ("traps.csv", "e1,home,egg", "e1,home,eggs"),
    ("traps.csv", ",,,lure\n", ",,,lure,x,\n"),
    ("traps.csv", ",meal,\n", ",\"meal,\n"),
];

/// All of them, always the same.
fn broken(farm: &Farm) -> Vec<Broken> {
    let read = |file: &str| fs::read(farm.path(file)).unwrap();
    let mut broken = Vec::new();
    let mut add = |file, how: String, bytes| broken.push(Broken { file, how, bytes });
    for (file, piece, slip) in SLIPS {
        let text = String::from_utf8(read(file)).unwrap();
        assert!(text.contains(piece), "{piece} is not in {file}");
        let slipped = text.replacen(piece, slip, 1);
        add(file, format!("{piece:?} to {slip:?}"), slipped.into_bytes());
    }
    // Cut off inside a value.
    for (file, many) in [(MAIN, 6), (INSECT, 3)] {
        let bytes = read(file);
        let values: Vec<usize> = (3..bytes.len())
            .filter(|end| bytes[..*end].ends_with(b"= \""))
            .collect();
        for end in values.iter().step_by(values.len() / many).take(many) {
            add(file, format!("cut at {end}"), bytes[..end + 1].to_vec());
        }
    }
    // The highest bit of a byte is flipped, a byte is none.
    for file in [MAIN, INSECT] {
        let mut flipped = read(file);
        let middle = flipped.len() / 2;
        flipped[middle] |= 0x80;
        add(file, format!("a bit at {middle} flipped"), flipped);
    }
    for file in [MAIN, INSECT, "blocks.csv", "traps.csv"] {
        let mut bytes = read(file);
        let middle = bytes.len() / 3;
        bytes[middle] = 0;
        add(file, format!("nothing at {middle}"), bytes);
    }
    // Saved in another encoding, as nothing, or as a workbook that was cut off.
    let text = String::from_utf8(read(MAIN)).unwrap();
    let wide = std::iter::once(0xfeff).chain(text.encode_utf16());
    add(
        MAIN,
        "UTF-16".to_owned(),
        wide.flat_map(u16::to_le_bytes).collect(),
    );
    for file in [MAIN, "traps.csv"] {
        add(file, "empty".to_owned(), Vec::new());
    }
    let workbook = b"PK\x03\x04".to_vec();
    add("blocks.csv", "a part of a workbook".to_owned(), workbook);
    broken
}

/// Saves a file as a whole: a look in between would see a part of it.
fn save(farm: &Farm, file: &str, bytes: &[u8]) {
    let new = farm.path("saved");
    fs::write(&new, bytes).unwrap();
    fs::rename(new, farm.path(file)).unwrap();
}

#[test]
fn of_fifty_broken_files_each_is_named_with_its_line_and_the_daemon_goes_on_with_the_one_before() {
    let farm = watching("2022-12-31");
    let daemon = start(&farm);
    let broken = broken(&farm);
    assert!(broken.len() >= 50, "{}", broken.len());
    for (number, Broken { file, how, bytes }) in broken.iter().enumerate() {
        let good = fs::read(farm.path(file)).unwrap();
        let refused = daemon.said("not taken over");
        save(&farm, file, bytes);
        daemon.looks_until(&format!("{file}, {how} is refused"), || {
            daemon.said("not taken over") > refused
        });
        let why = daemon.said_last("not taken over");
        let (place, _) = why.split_once(": ").unwrap();
        match how.contains("to \"navel.toml\"") {
            true => assert_eq!(place, "navel.toml", "{how}: {why}"),
            false => {
                let line = place.strip_prefix(&format!("{file}, line "));
                let line = line.and_then(|line| line.parse().ok());
                assert!(line.is_some_and(|line: usize| line > 0), "{how}: {why}");
            }
        }
        if number == 0 {
            farm.write("drop/round.csv", VISITS);
            daemon.looks_until("it works on", || !farm.path("drop/round.csv").exists());
        }
        let taken_over = daemon.said("changed configuration taken over");
        save(&farm, file, &good);
        daemon.looks_until(&format!("{file} is taken over after {how}"), || {
            daemon.said("changed configuration taken over") > taken_over
        });
    }
    daemon.stop("-TERM");
    let visits = rows(&farm.database(), "SELECT count(*) FROM visit");
    assert_eq!(visits, [["20"]]);
}
