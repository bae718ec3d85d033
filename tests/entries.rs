//! What must hold for any records: the way in and its order leave no trace in a season, what is brought out
//! imports to the same, and a record taken back corrects what was told.

use std::path::Path;
use std::sync::{Arc, OnceLock};

use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use duskflight::clock::{Clock, SetClock};
use duskflight::config::Config;
use duskflight::mail::render::render;
use duskflight::records::{Kind, Origin, import, notes_csv, visits_csv};
use duskflight::store::entries::Withdrawal;
use duskflight::store::notes::Key;
use duskflight::store::{Store, StoreError, notes, visits};
use duskflight::telling::{night, tell};
use duskflight_core::id::{BlockId, TrapId};
use duskflight_core::ledger::{Fact, facts};
use duskflight_core::season::{BlockSeason, RiskFacts};
use duskflight_core::trapping::{Note, NoteKind, Visit};
use proptest::prelude::*;
use tempfile::TempDir;

use crate::harness::{Farm, VISITS, rows};

/// The day of telling.
const AS_OF: NaiveDate = date(2022, 7, 10);

const fn date(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).expect("a day of the calendar")
}

/// A farm whose station days are in its records and nothing else.
fn farm() -> &'static Farm {
    static FARM: OnceLock<Farm> = OnceLock::new();
    FARM.get_or_init(|| {
        let farm = Farm::new("2022-07-09");
        farm.nightly("2022-07-10");
        farm
    })
}

fn set_to(now: DateTime<Utc>) -> Arc<dyn Clock> {
    Arc::new(SetClock::at(now))
}

fn config() -> &'static Config {
    static CONFIG: OnceLock<Config> = OnceLock::new();
    CONFIG.get_or_init(|| Config::read(Path::new(farm().config())).unwrap())
}

fn wait<T>(work: impl Future<Output = T>) -> T {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build();
    runtime.unwrap().block_on(work)
}

/// Records of their own, with the farm's station days.
struct Records {
    dir: TempDir,
    store: Store,
    entries: i64,
}

impl Records {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("duskflight.sqlite");
        let database = farm().database();
        let copy = format!("VACUUM INTO '{}'", path.display());
        database.execute_batch(&copy).unwrap();
        let store = Store::create(&path).unwrap();
        Self {
            dir,
            store,
            entries: 0,
        }
    }

    /// The instant of the next entry: each comes a minute after the one before.
    fn now(&mut self) -> DateTime<Utc> {
        self.entries += 1;
        let evening: DateTime<Utc> = "2022-07-10T20:00:00Z".parse().unwrap();
        evening + TimeDelta::minutes(self.entries)
    }

    fn import(&mut self, kind: Kind, text: &str) {
        let origin = Origin {
            file: "round.csv".to_owned(),
            by: "Ada".to_owned(),
            sure: false,
        };
        let clock = set_to(self.now());
        wait(import(&self.store, config(), kind, text, &origin, &clock)).unwrap();
    }

    /// What stands, without when it was entered.
    fn state(&self) -> (Vec<(Visit, String)>, Vec<Note>) {
        let ever = date(2000, 1, 1)..=AS_OF;
        let read = self.store.read(move |c| {
            let visits = visits::entered_between(c, ever.clone())?;
            Ok::<_, StoreError>((visits, notes::between(c, ever)?))
        });
        let (visits, mut notes) = wait(read).unwrap();
        forget_when(&mut notes);
        (visits, notes)
    }

    /// The seasons of the farm, and what there is to tell of them.
    fn seasons(&self) -> (Vec<BlockSeason>, Vec<Fact>) {
        let look = self.store.read(|c| night(c, config(), AS_OF));
        let mut seasons = wait(look).unwrap().seasons;
        for season in &mut seasons {
            let RiskFacts {
                mummies,
                damage,
                nut_samples,
                crop,
                insecticides,
            } = &mut season.beside.risk;
            for notes in [mummies, damage, nut_samples, crop, insecticides] {
                forget_when(notes);
            }
        }
        let facts = seasons.iter().flat_map(facts);
        let facts = facts.collect();
        (seasons, facts)
    }
}

/// When a note was entered is not what it says.
fn forget_when(notes: &mut [Note]) {
    for note in notes {
        note.entered_at = DateTime::UNIX_EPOCH;
    }
}

/// What one record is about: the cells that tell it from others, in the order of its sheet's columns.
#[derive(Debug, Clone, Copy, PartialEq)]
enum About {
    /// A trap and the day of a visit.
    Visit(&'static str, NaiveDate),
    /// The kind and day of a note, and its columns after those.
    Note(&'static str, NaiveDate, &'static str),
}

/// Every record that a case may have.
fn keys() -> Vec<About> {
    let checks = [(3, 18), (4, 5), (4, 8), (4, 12), (4, 15), (4, 19)];
    let traps = ["e1", "e2", "e3", "e4", "p1"];
    let visits = traps.into_iter().flat_map(|trap| {
        let days = checks.into_iter();
        days.map(move |(month, day)| About::Visit(trap, date(2022, month, day)))
    });
    visits
        .chain([
            About::Note("egg-laying-start", date(2022, 4, 25), ""),
            About::Note("hull-split", date(2022, 7, 3), "Nonpareil"),
            About::Note("hull-split-expected", date(2022, 6, 1), "Nonpareil"),
            About::Note("rejects", date(2021, 10, 1), ""),
        ])
        .collect()
}

/// A sheet of one row that says `value` of a record. `serial` makes it another file each time.
fn sheet(about: About, value: u32, serial: usize) -> (Kind, String) {
    let day = |from: NaiveDate| from.checked_add_days(Days::new(value.into())).unwrap();
    let blank = "\n".repeat(serial);
    match about {
        About::Visit(trap, date) => {
            let column = if trap == "p1" { "moths" } else { "eggs" };
            let text = format!("date,trap,{column}\n{date},{trap},{value}\n{blank}");
            (Kind::Visits, text)
        }
        About::Note(kind, date, variety) => {
            let (column, cell) = match kind {
                "egg-laying-start" => {
                    let start = day(date - TimeDelta::days(10));
                    ("value,note", format!("{start},eggs seen"))
                }
                "hull-split-expected" => ("value", day(date + TimeDelta::days(28)).to_string()),
                "rejects" => ("percent", format!("{value}.1")),
                _ => ("note", format!("seen by {value}")),
            };
            let text = format!(
                "date,block,variety,kind,{column}\n{date},home,{variety},{kind},{cell}\n{blank}"
            );
            (Kind::Notes, text)
        }
    }
}

/// One act upon a record: it is entered with a value, or taken back.
#[derive(Debug, Clone)]
struct Act {
    about: About,
    value: Option<u32>,
    /// Acts are done in the order of their turns.
    turn: u32,
}

impl Records {
    fn act(&mut self, act: &Act, serial: usize) {
        let Some(value) = act.value else {
            return self.withdraw(act.about);
        };
        let (kind, text) = sheet(act.about, value, serial);
        self.import(kind, &text);
    }

    fn withdraw(&mut self, about: About) {
        let withdrawal = Withdrawal {
            at: self.now(),
            by: "Ada".to_owned(),
            why: "a slip".to_owned(),
        };
        let gone = self.store.write(move |t| match about {
            About::Visit(trap, date) => {
                visits::withdraw(t, &TrapId::new(trap).unwrap(), date, &withdrawal)
            }
            About::Note(kind, date, variety) => {
                let variety = (!variety.is_empty()).then_some(variety);
                let home = BlockId::new("home").unwrap();
                notes::withdraw(t, &Key::new(&home, variety, kind, date), &withdrawal)
            }
        });
        wait(gone).unwrap();
    }
}

/// What stands at the end of each record, and two ways to get there: other values before, withdrawals
/// between, all records in any order.
fn two_ways() -> impl Strategy<Value = [Vec<Act>; 2]> {
    let count = keys().len();
    let value = || prop::option::weighted(0.8, 0..9u32);
    let way =
        move || prop::collection::vec(prop::collection::vec((value(), any::<u32>()), 0..2), count);
    let last = prop::collection::vec((value(), any::<u32>(), any::<u32>()), count);
    (last, way(), way()).prop_map(|(last, one, other)| {
        let acts = |before: Vec<Vec<(Option<u32>, u32)>>, turn: fn(&(u32, u32)) -> u32| {
            let mut acts = Vec::new();
            for ((about, before), (value, one, other)) in keys().into_iter().zip(before).zip(&last)
            {
                let mut turns: Vec<u32> = before.iter().map(|(_, turn)| *turn).collect();
                turns.push(turn(&(*one, *other)));
                turns.sort_unstable();
                let values = before.iter().map(|(value, _)| *value).chain([*value]);
                acts.extend(
                    values
                        .zip(turns)
                        .map(|(value, turn)| Act { about, value, turn }),
                );
            }
            // A stable sort keeps the acts upon one record in their order.
            acts.sort_by_key(|act| act.turn);
            acts
        };
        [acts(one, |turns| turns.0), acts(other, |turns| turns.1)]
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, ..ProptestConfig::default() })]

    #[test]
    fn any_way_to_the_same_records_gives_the_same_season(ways in two_ways()) {
        let [one, other] = ways.map(|acts| {
            let mut records = Records::new();
            for (serial, act) in acts.iter().enumerate() {
                records.act(act, serial);
            }
            records
        });
        prop_assert_eq!(one.state(), other.state());
        prop_assert_eq!(one.seasons(), other.seasons());

        // And the same as a farm that only ever imported what was brought out.
        let (visits, notes) = one.state();
        let mut fresh = Records::new();
        fresh.import(Kind::Visits, &visits_csv(&visits));
        fresh.import(Kind::Notes, &notes_csv(&notes));
        prop_assert_eq!(fresh.seasons(), one.seasons());
    }
}

/// A text as people, or worse, may type it.
fn text() -> impl Strategy<Value = String> {
    let piece = prop::sample::select(vec![
        "=", "+", "-", "@", "'", "\t", "\r", "\n", "\"", ",", ";", " ", "1", "wet", "é", "\u{feff}",
    ]);
    prop::collection::vec(piece, 0..6).prop_map(|pieces| pieces.concat())
}

fn percent() -> impl Strategy<Value = String> {
    prop_oneof![
        Just(String::new()),
        (0.0..=100.0f64).prop_map(|percent| percent.to_string()),
        (0..=100u32).prop_map(|percent| percent.to_string()),
    ]
}

fn csv_of(header: &str, rows: &[Vec<String>]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(header.split(',')).unwrap();
    for row in rows {
        writer.write_record(row).unwrap();
    }
    String::from_utf8(writer.into_inner().unwrap()).unwrap()
}

/// Visits of one trap a day each.
fn visit_rows() -> impl Strategy<Value = Vec<Vec<String>>> {
    let count = prop::option::of(0..400u32);
    let row = (
        count,
        any::<bool>(),
        prop::bool::weighted(0.2),
        text(),
        text(),
    );
    prop::collection::vec(row, 0..12).prop_map(|rows| {
        let days = date(2022, 3, 20).iter_days();
        let rows = rows.into_iter().zip(days);
        rows.map(|((eggs, left, lost, note, by), day)| {
            let (eggs, left) = if lost { (None, false) } else { (eggs, left) };
            let yes = |is, word: &str| if is { word.to_owned() } else { String::new() };
            vec![
                day.to_string(),
                "e1".to_owned(),
                eggs.map_or_else(String::new, |eggs| eggs.to_string()),
                yes(left && eggs.is_some(), "yes"),
                yes(lost, "no"),
                "bait".to_owned(),
                note,
                by,
            ]
        })
        .collect()
    })
}

/// Notes that carry numbers, and one that carries days.
fn note_rows() -> impl Strategy<Value = Vec<Vec<String>>> {
    let row = (percent(), percent(), text(), 0..4u8);
    prop::collection::vec(row, 0..8).prop_map(|rows| {
        let days = date(2022, 6, 1).iter_days();
        let rows = rows.into_iter().zip(days);
        rows.map(|((one, other, note, which), day)| {
            let given = |number: &str| if number.is_empty() { "0" } else { number }.to_owned();
            let mut cells = vec![String::new(); 14];
            let mut put = |place: usize, cell: &str| cell.clone_into(&mut cells[place]);
            put(0, &day.to_string());
            put(1, "home");
            put(13, &note);
            match which {
                0 => {
                    put(2, "Nonpareil");
                    put(3, "hull-split-check");
                    for (place, cell) in [(7, "3"), (8, &*given(&one)), (10, &*other)] {
                        put(place, cell);
                    }
                }
                1 => {
                    put(2, "Nonpareil");
                    put(3, "shake-expected");
                    for (place, later) in [(5, 40), (4, 45), (6, 60)] {
                        put(place, &(day + TimeDelta::days(later)).to_string());
                    }
                }
                2 => {
                    put(3, "mummies");
                    for (place, cell) in [(7, "20"), (11, &*given(&one)), (12, &*other)] {
                        put(place, cell);
                    }
                }
                _ => put(3, "insecticide"),
            }
            cells
        })
        .collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 32, ..ProptestConfig::default() })]

    #[test]
    fn what_is_brought_out_imports_to_the_same_records(
        visits in visit_rows(),
        notes in note_rows(),
    ) {
        let mut records = Records::new();
        let header = "date,trap,eggs,eggs_left,readable,serviced,note,by";
        records.import(Kind::Visits, &csv_of(header, &visits));
        let header =
            "date,block,variety,kind,value,earliest,latest,trees,top,middle,low,in_tree,on_ground,note";
        records.import(Kind::Notes, &csv_of(header, &notes));
        let state = records.state();
        prop_assert_eq!((state.0.len(), state.1.len()), (visits.len(), notes.len()));

        let (visits, notes) = (visits_csv(&state.0), notes_csv(&state.1));
        let mut other = Records::new();
        other.import(Kind::Visits, &visits);
        other.import(Kind::Notes, &notes);
        let again = other.state();
        prop_assert_eq!(visits_csv(&again.0), visits);
        prop_assert_eq!(notes_csv(&again.1), notes);
        prop_assert_eq!(&again, &state);
        // Nothing is an edit of what stands.
        records.import(Kind::Notes, &notes_csv(&state.1));
        let database = rusqlite::Connection::open(records.dir.path().join("duskflight.sqlite"));
        let edits = rows(&database.unwrap(), "SELECT count(*) FROM note_history");
        prop_assert_eq!(edits, [["0"]]);
    }
}

#[test]
fn a_reading_taken_back_withdraws_the_start_it_made_and_says_why() {
    // Told on 16 April: a start of the 12th, by eggs in three traps. Then all readings of the 15th and two
    // of the 12th turn out to be another block's.
    let farm = Farm::new("2022-04-30");
    farm.nightly("2022-04-10");
    let config = Arc::new(Config::read(Path::new(farm.config())).unwrap());
    let store = Store::create(&config.database).unwrap();
    let morning = |day: u32| config.digest_instant(date(2022, 4, day));
    let origin = Origin {
        file: "round.csv".to_owned(),
        by: "Ada".to_owned(),
        sure: false,
    };
    let clock = set_to(morning(15) + TimeDelta::hours(10));
    wait(import(
        &store,
        &config,
        Kind::Visits,
        VISITS,
        &origin,
        &clock,
    ))
    .unwrap();
    wait(tell(&store, &config, date(2022, 4, 16), false, morning(16))).unwrap();
    let told = "SELECT value FROM told WHERE event LIKE '%start%' ORDER BY person, revision";
    let before = rows(&farm.database(), told);
    assert!(
        !before.is_empty() && before.iter().all(|row| row[0] == "2022-04-12"),
        "{before:?}"
    );

    let withdrawal = Withdrawal {
        at: morning(16) + TimeDelta::hours(4),
        by: "Ada".to_owned(),
        why: "of another block".to_owned(),
    };
    let wrong = [
        ("e1", 15),
        ("e2", 15),
        ("e3", 15),
        ("e4", 15),
        ("e1", 12),
        ("e2", 12),
    ];
    for (trap, day) in wrong {
        let withdrawal = withdrawal.clone();
        let gone = store.write(move |t| {
            visits::withdraw(
                t,
                &TrapId::new(trap).unwrap(),
                date(2022, 4, day),
                &withdrawal,
            )
        });
        assert!(wait(gone).unwrap());
    }
    wait(tell(&store, &config, date(2022, 4, 17), false, morning(17))).unwrap();
    wait(render(&store)).unwrap();
    let body = rows(
        &farm.database(),
        "SELECT CAST(body AS TEXT) FROM outbox JOIN mail_content USING (message_id) WHERE kind = 'digest' AND day = '2022-04-17'",
    );
    let digest = body[0][0].replace("=\r\n", "").replace("\r\n", " ");
    assert!(digest.contains("egg-laying start: withdrawn"), "{digest}");
    let why = "since then egg-trap readings of Apr 12 and Apr 15 were withdrawn";
    assert!(digest.contains(why), "{digest}");
}

#[test]
fn hull_split_taken_back_is_heard_of() {
    let mut records = Records::new();
    let (kind, text) = sheet(
        About::Note("hull-split", date(2022, 7, 3), "Nonpareil"),
        1,
        0,
    );
    records.import(kind, &text);
    let told: DateTime<Utc> = "2022-07-10T21:00:00Z".parse().unwrap();
    records.entries = 120;
    records.withdraw(About::Note("hull-split", date(2022, 7, 3), "Nonpareil"));
    let heard = |until: DateTime<Utc>| {
        let read = records
            .store
            .read(move |c| notes::withdrawn(c, told..until));
        let kinds: Vec<NoteKind> = wait(read).unwrap().iter().map(|note| note.kind).collect();
        kinds
    };
    assert_eq!(heard(told + TimeDelta::days(1)), [NoteKind::HullSplit]);
    assert!(heard(told + TimeDelta::minutes(1)).is_empty());
    // Entered anew, it is not gone.
    let (kind, text) = sheet(
        About::Note("hull-split", date(2022, 7, 3), "Nonpareil"),
        1,
        1,
    );
    records.import(kind, &text);
    let read = records
        .store
        .read(move |c| notes::withdrawn(c, told..told + TimeDelta::days(1)));
    assert!(wait(read).unwrap().is_empty());
}
