//! What people write down: typed, changed, taken back, and given back as CSV.

use std::fs;

use duskflight::records::Kind;

use crate::dropped::watching;
use crate::harness::{Farm, VISITS, printed, refused, rows, told_farm};

/// A command of `visits` or `notes` for a farm.
fn told(farm: &Farm, arguments: &[&str]) -> String {
    printed(&[arguments, &["--config", farm.config()]].concat())
}

fn visit(farm: &Farm, verb: &str, more: &[&str]) -> String {
    told(farm, &[&["visits", verb], more].concat())
}

fn note(farm: &Farm, verb: &str, more: &[&str]) -> String {
    told(farm, &[&["notes", verb], more].concat())
}

const E1_APRIL_12: [&str; 4] = ["--trap", "e1", "--date", "2022-04-12"];

#[test]
fn a_visit_typed_again_is_an_edit_with_its_history() {
    let farm = Farm::new("2022-04-30");
    let with = |eggs| [&E1_APRIL_12[..], &["--eggs", eggs, "--by", "Ada"]].concat();
    let said = visit(&farm, "add", &with("3"));
    assert_eq!(said, "visit of trap e1 on 2022-04-12: added\n");
    assert!(visit(&farm, "add", &with("3")).ends_with(": there already\n"));
    let said = visit(&farm, "add", &with("5"));
    assert!(
        said.contains("changed; what stood before is in the history"),
        "{said}"
    );
    // Back to what it was: typing is always a new entry.
    visit(&farm, "add", &with("3"));
    let eggs = "SELECT eggs, entered_by, via FROM visit";
    assert_eq!(rows(&farm.database(), eggs), [["3", "Ada", "command line"]]);
    let history = "SELECT eggs, replaced_by, why FROM visit_history ORDER BY rowid";
    assert_eq!(
        rows(&farm.database(), history),
        [["3", "Ada", ""], ["5", "Ada", ""]]
    );
    let listed = visit(&farm, "history", &["--trap", "e1"]);
    assert_eq!(listed.matches("changed").count(), 2, "{listed}");
}

#[test]
fn what_is_typed_is_checked_like_a_file_and_the_flag_is_named() {
    let farm = Farm::new("2022-04-30");
    let arguments = [
        "--config",
        farm.config(),
        "--trap",
        "p1",
        "--date",
        "2022-04-12",
    ];
    let said = refused(
        2,
        &[
            &["visits", "add", "--eggs", "3", "--eggs-left", "yes"],
            &arguments[..],
        ]
        .concat(),
    );
    assert!(
        said.contains("add the visit of trap p1 on 2022-04-12; nothing was stored:"),
        "{said}"
    );
    assert!(
        said.contains("column eggs, \"3\": a trap of kind pheromone does not catch them"),
        "{said}"
    );
    assert!(said.contains("column eggs_left, \"yes\""), "{said}");
    assert!(!said.contains("row 2"), "{said}");
    assert_eq!(
        rows(&farm.database(), "SELECT count(*) FROM visit"),
        [["0"]]
    );
}

#[test]
fn a_withdrawn_visit_stays_away_until_it_is_entered_anew() {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    // The same rows by another file: they were there already, and that file is remembered too.
    let copy = VISITS.replace("date,trap", "Date,Trap");
    assert!(farm.import("copy.csv", &copy).contains("20 there already"));
    let why = ["--why", "read at the wrong tree", "--by", "Ada"];
    let said = visit(&farm, "withdraw", &[&E1_APRIL_12[..], &why].concat());
    assert_eq!(
        said,
        "visit of trap e1 on 2022-04-12: withdrawn; it stays in the history\n"
    );
    let history = "SELECT trap, eggs, replaced_by, why FROM visit_history";
    let expected = [["e1", "3", "Ada", "read at the wrong tree"]];
    assert_eq!(rows(&farm.database(), history), expected);
    let listed = visit(&farm, "history", &[]);
    assert!(
        listed.contains("withdrawn: read at the wrong tree"),
        "{listed}"
    );

    for (name, text) in [("round.csv", VISITS), ("copy.csv", &copy)] {
        let said = farm.import(name, text);
        assert!(said.contains("19 there already, 1 not applied"), "{said}");
    }
    let count = "SELECT count(*) FROM visit";
    assert_eq!(rows(&farm.database(), count), [["19"]]);
    visit(&farm, "add", &[&E1_APRIL_12[..], &["--eggs", "4"]].concat());
    assert_eq!(rows(&farm.database(), count), [["20"]]);

    let again = [
        &["visits", "withdraw", "--config", farm.config()],
        &E1_APRIL_12[..],
    ]
    .concat();
    let said = refused(2, &[&again[..], &["--why", " "]].concat());
    assert!(said.contains("say who withdraws it, and why"), "{said}");
    visit(&farm, "withdraw", &[&E1_APRIL_12[..], &why].concat());
    let said = refused(2, &[&again[..], &why].concat());
    assert!(
        said.contains("visit of trap e1 on 2022-04-12: no such record stands"),
        "{said}"
    );
}

#[test]
fn a_note_is_typed_listed_and_taken_back() {
    let farm = Farm::new("2022-08-30");
    let key = [
        "--block",
        "home",
        "--kind",
        "hull-split-check",
        "--date",
        "2022-07-05",
    ];
    let of = [&key[..], &["--variety", "Nonpareil"]].concat();
    let says = [
        "--trees", "6", "--top", "5", "--scale", "ucce", "--stage", "2c",
    ];
    let said = note(
        &farm,
        "add",
        &[&of[..], &says, &["--note", "-south rows"]].concat(),
    );
    assert_eq!(
        said,
        "hull-split-check of block home on 2022-07-05: added\n"
    );
    let listed = note(&farm, "list", &["--all"]);
    assert!(
        listed.contains("trees 6, top 5, scale ucce, stage 2C"),
        "{listed}"
    );
    assert!(listed.contains("-south rows"), "{listed}");
    note(
        &farm,
        "withdraw",
        &[&of[..], &["--why", "another block"]].concat(),
    );
    assert_eq!(rows(&farm.database(), "SELECT count(*) FROM note"), [["0"]]);
    let listed = note(&farm, "history", &["--block", "home"]);
    assert!(listed.contains("withdrawn: another block"), "{listed}");
    let config = ["--config", farm.config(), "--why", "x"];
    let said = refused(2, &[&["notes", "withdraw"], &of[..], &config].concat());
    assert!(said.contains("no such record stands"), "{said}");
}

#[test]
fn what_is_brought_out_imports_to_the_same() {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    visit(
        &farm,
        "add",
        &[
            &E1_APRIL_12[..],
            &["--eggs", "4", "--eggs-left", "yes", "--note", "=2+2"],
        ]
        .concat(),
    );
    let out = visit(&farm, "export", &[]);
    assert!(
        out.contains("2022-04-12,e1,4,yes,,,,,,'=2+2,command line\n"),
        "{out}"
    );
    let other = Farm::new("2022-04-30");
    assert!(other.import("out.csv", &out).contains("20 added"));
    assert_eq!(visit(&other, "export", &[]), out);
    let text = "SELECT note FROM visit WHERE note != '' ORDER BY 1";
    assert_eq!(rows(&other.database(), text), [["=2+2"], ["bait wet"]]);

    let april = visit(
        &farm,
        "export",
        &["--from", "2022-04-01", "--to", "2022-04-08"],
    );
    assert_eq!(april.lines().count(), 1 + 8, "{april}");
}

#[test]
fn of_ten_thousand_rows_none_is_stored_when_the_last_one_is_wrong() {
    let farm = Farm::new("2022-12-31");
    let traps: String = (0..100)
        .map(|n| format!("t{n},home,egg,2022-03-15,,meal,\n"))
        .collect();
    farm.write(
        "traps.csv",
        &format!("id,block,kind,hung,place,bait,lure\n{traps}"),
    );
    let first: chrono::NaiveDate = "2022-04-01".parse().unwrap();
    let days: Vec<_> = first.iter_days().take(100).collect();
    let good = days
        .iter()
        .flat_map(|day| (0..100).map(move |n| format!("{day},t{n},{n}\n")));
    let mut text: String = std::iter::once("date,trap,eggs\n".to_owned())
        .chain(good)
        .collect();
    let whole = text.len();
    text.push_str("2022-04-01,t100,many\n");
    farm.write("bad.csv", &text);
    let file = farm.path("bad.csv");
    let file = file.to_str().unwrap();
    let said = refused(2, &["visits", "import", file, "--config", farm.config()]);
    assert!(
        said.contains("row 10002, column trap, \"t100\": no such trap in traps.csv"),
        "{said}"
    );
    assert_eq!(said.matches("row ").count(), 2, "{said}");
    for table in ["visit", "visit_history", "imported_file"] {
        let count = format!("SELECT count(*) FROM {table}");
        assert_eq!(rows(&farm.database(), &count), [["0"]], "{table}");
    }
    assert!(
        farm.import("good.csv", &text[..whole])
            .contains("10000 added")
    );
}

#[test]
fn a_start_by_hand_that_is_withdrawn_is_the_traps_start_again() {
    let farm = told_farm();
    let key = [
        "--block",
        "home",
        "--kind",
        "egg-laying-start",
        "--date",
        "2022-04-20",
    ];
    note(
        &farm,
        "add",
        &[
            &key[..],
            &["--value", "2022-04-10", "--note", "the block's own book"],
        ]
        .concat(),
    );
    let season = || told(&farm, &["season", "--as-of", "2022-04-25"]);
    assert!(season().contains("set by hand Apr 10"), "{}", season());
    note(
        &farm,
        "withdraw",
        &[&key[..], &["--why", "another block's book"]].concat(),
    );
    assert!(season().contains("confirmed Apr 12"), "{}", season());
}

#[test]
fn what_no_year_has_shown_is_taken_only_from_whoever_is_sure_and_then_stays() {
    let farm = watching("2022-08-30");
    let in_april = "date,block,variety,kind\n2022-04-01,home,Nonpareil,hull-split\n";
    let overfull = "date,trap,males\n2022-07-01,p1,30\n2022-07-08,p1,3000\n";
    farm.write("split.csv", in_april);
    farm.write("round.csv", overfull);
    let import = |kind, file: &str, sure: &'static [&'static str]| {
        let file = farm.path(file).to_str().unwrap().to_owned();
        [&[kind, "import", &file, "--config", farm.config()], sure]
            .concat()
            .into_iter()
            .map(str::to_owned)
            .collect::<Vec<String>>()
    };
    let refused = |arguments: Vec<String>| {
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        refused(2, &arguments)
    };
    let taken = |arguments: Vec<String>| {
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        printed(&arguments)
    };
    let said = refused(import("notes", "split.csv", &[]));
    let asked = "row 2, column date, \"2022-04-01\": a slip of the keys? hull split of almonds";
    assert!(said.contains(asked), "{said}");
    assert!(said.contains("--sure takes it"), "{said}");
    let said = refused(import("visits", "round.csv", &[]));
    assert!(said.contains("row 3, column males, \"3000\""), "{said}");
    let stored = "SELECT (SELECT count(*) FROM note) + (SELECT count(*) FROM visit)";
    assert_eq!(rows(&farm.database(), stored), [["0"]]);

    // Nor by the watched folder, which says how it comes in all the same.
    farm.write("drop/split.csv", in_april);
    let said = farm.nightly("2022-07-09");
    assert!(said.contains("refused: import split.csv"), "{said}");
    let why = fs::read_to_string(farm.path("drop/refused/split.csv.why.txt")).unwrap();
    assert!(why.contains(asked), "{why}");
    let way = format!(
        "duskflight notes import --config {} --sure FILE\n",
        farm.config()
    );
    assert!(why.ends_with(&way), "{why}");

    let said = taken(import("notes", "split.csv", &["--sure"]));
    assert!(said.contains("1 added"), "{said}");
    let said = taken(import("visits", "round.csv", &["--sure"]));
    assert!(said.contains("2 added"), "{said}");
    // What stands was answered: the same rows again, also in another file, ask nothing.
    let said = taken(import("notes", "split.csv", &[]));
    assert!(said.contains("1 there already"), "{said}");
    farm.write("copy.csv", &in_april.replace("date", "Date"));
    let said = taken(import("notes", "copy.csv", &[]));
    assert!(said.contains("1 there already"), "{said}");

    let typed = ["--trap", "p1", "--date", "2022-07-15", "--males", "4000"];
    let typed = [&["visits", "add", "--config", farm.config()], &typed[..]].concat();
    let said = crate::harness::refused(2, &typed);
    assert!(
        said.contains("column males, \"4000\": a slip of the keys?"),
        "{said}"
    );
    let said = printed(&[&typed[..], &["--sure"]].concat());
    assert!(said.ends_with(": added\n"), "{said}");
}

/// The sheet in the guide's fence of this name.
fn of_guide(name: &str) -> String {
    let guide = include_str!("../deploy/guide/records.md");
    let fence = format!("```csv {name}\n");
    let (_, rest) = guide.split_once(&fence).expect("the fence");
    rest.split_once("```").expect("its end").0.to_owned()
}

#[test]
fn the_rows_of_the_guide_import_and_show_every_column_and_kind() {
    let farm = Farm::new("2022-12-31");
    farm.write(
        "blocks.csv",
        "id,name,grower,adviser,crop,regime,station,varieties\n\
         home,Home block,gil,ada,almond,mating-disruption,yard,Nonpareil; Monterey\n",
    );
    farm.write(
        "traps.csv",
        "id,block,kind,hung\nhome-e1,home,egg,2022-03-15\nhome-e2,home,egg,2022-03-15\n\
         home-p1,home,pheromone,2022-03-15\nhome-c1,home,pheromone-ppo,2022-03-15\n\
         home-b1,home,bait-bag,2022-03-15\n",
    );
    let (visits, notes) = (of_guide("visits"), of_guide("notes"));
    assert!(farm.import("visits.csv", &visits).contains("7 added"));
    farm.write("notes.csv", &notes);
    let file = farm.path("notes.csv");
    let said = note(&farm, "import", &[file.to_str().unwrap()]);
    assert!(said.contains("16 added"), "{said}");
    for kind in duskflight_core::trapping::NoteKind::NAMES {
        assert!(notes.contains(&format!(",{kind},")), "{kind} has no row");
    }
    // Each column, but who entered a row, is filled somewhere.
    for (sheet, kind) in [(&visits, Kind::Visits), (&notes, Kind::Notes)] {
        let header: Vec<&str> = sheet.lines().next().unwrap().split(',').collect();
        for column in kind.columns().iter().filter(|column| **column != "by") {
            let place = header.iter().position(|name| name == column);
            let place = place.unwrap_or_else(|| panic!("{column} is missing"));
            let mut rows = sheet.lines().skip(1);
            let filled = rows.any(|row| !row.split(',').nth(place).unwrap().is_empty());
            assert!(filled, "{column} is empty in every row");
        }
    }
}

#[test]
fn the_sheets_of_init_have_all_columns_and_import_as_they_are() {
    let dir = tempfile::tempdir().unwrap();
    let farm = dir.path().join("farm");
    let config = farm.to_str().unwrap();
    printed(&["init", config]);
    for (command, name, kind) in [
        ("visits", "visits.csv", Kind::Visits),
        ("visits", "last-year.csv", Kind::Visits),
        ("notes", "notes.csv", Kind::Notes),
    ] {
        let file = farm.join(name);
        let header = fs::read_to_string(&file).unwrap();
        let columns: Vec<&str> = header.trim().split(',').collect();
        let own = kind
            .columns()
            .iter()
            .copied()
            .filter(|column| *column != "by");
        assert_eq!(columns, own.collect::<Vec<_>>(), "{name}");
        let said = printed(&[
            command,
            "import",
            file.to_str().unwrap(),
            "--config",
            config,
        ]);
        assert!(said.contains("0 added"), "{said}");
    }
}

#[test]
fn a_list_shows_thirty_days_unless_others_are_asked_for_and_says_how_many_it_left_out() {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    let list = |more: &[&str]| visit(&farm, "list", &[&["--as-of", "2022-05-05"], more].concat());
    let last = |more: &[&str]| list(more).lines().last().unwrap().to_owned();
    let shown = list(&[]);
    assert!(
        !shown.contains("2022-04-05") && shown.contains("2022-04-08"),
        "{shown}"
    );
    let said = "12 visits of the 30 days up to 2022-05-05; 8 of earlier days are shown with --all";
    assert_eq!(last(&[]), said);
    assert_eq!(last(&["--all"]), "20 visits up to 2022-05-05");
    assert_eq!(
        last(&["--from", "2022-04-12"]),
        "8 visits from 2022-04-12 to 2022-05-05"
    );
    assert_eq!(last(&["--to", "2022-04-12"]), "16 visits up to 2022-04-12");
    assert_eq!(
        last(&["--trap", "e1", "--all"]),
        "5 visits up to 2022-05-05"
    );
    assert_eq!(
        last(&["--block", "home", "--trap", "p1"]),
        "0 visits up to 2022-05-05"
    );
    let unknown = |option: &str, id: &str| {
        refused(
            2,
            &["visits", "list", "--config", farm.config(), option, id],
        )
    };
    assert!(unknown("--trap", "e9").contains("no such trap in traps.csv; did you mean \"e1\"?"));
    assert!(
        unknown("--block", "hoem").contains("no such block in blocks.csv; did you mean \"home\"?")
    );
    let notes = note(&farm, "list", &["--as-of", "2022-05-05"]);
    assert!(notes.ends_with("0 notes up to 2022-05-05\n"), "{notes}");
}
