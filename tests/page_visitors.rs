//! Who sees what of the page of the real program: each address, asked for by each kind of person about their own blocks
//! and about other people's; and texts and addresses that were made to do harm.

use chrono::{Datelike, Days, NaiveDate};
use duskflight::clock::{Clock, SystemClock};

use crate::daemon::wait_for;
use crate::harness::{Farm, VISITS, printed, rows, table};
use crate::page_client::{Answer, Browser, Shown};

/// What blocks, routes, stations and people are called: nobody who has no part in one reads of it.
const OF_HOME: [&str; 3] = ["Home block", "Gil Marrow", "h-e1"];
const OF_GILDED: [&str; 2] = ["Gilded lane", "g-e1"];
const OF_HOLLOW: [&str; 3] = ["Hollow acre", "Hal Orme", "o-e1"];
const OF_IVORY: [&str; 3] = ["Ivory corner", "Ivy Reed", "i-e1"];

const PEOPLE: &str = r#"
[[person]]
id = "bea"
name = "Bea Quist"
role = "adviser"
email = "bea@test.example"
phone = "559-555-0111"

[[person]]
id = "hal"
name = "Hal Orme"
role = "grower"
email = "hal@test.example"

[[person]]
id = "ivy"
name = "Ivy Reed"
role = "grower"
email = "ivy@test.example"
enters = true

[[person]]
id = "sam"
name = "Sam Rowe"
role = "scout"
email = "sam@test.example"

[[person]]
id = "max"
name = "Max Tull"
role = "manager"
email = "max@test.example"

[[person]]
id = "otto"
name = "Otto Finn"
role = "other"
email = "otto@test.example"

[[rule]]
people = ["otto"]
blocks = ["hollow"]
tell = ["flight-start"]

[[station]]
id = "mill"
name = "Mill pond"
history_years = 12

[station.table]
source = "yard.csv"
date_column = "date"
min_column = "low"
max_column = "high"
unit = "f"

"#;

const TRAPS: [(&str, &str); 4] = [
    ("h", "home"),
    ("g", "gilded"),
    ("o", "hollow"),
    ("i", "ivory"),
];

/// A year whose April is over, whenever the test is run.
pub(crate) fn year() -> i32 {
    (SystemClock.now().date_naive() - Days::new(200)).year()
}

pub(crate) fn april(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year(), 4, day).unwrap()
}

/// Two advisers, three growers, four blocks, each with egg traps whose start was told on 16 April. Gil's alert is held,
/// Hal's too; Ivy's was let go.
fn farm() -> Farm {
    let year = year();
    let farm = Farm::new("2022-04-30");
    farm.write("yard.csv", &table(&april(30).to_string()));
    let at = "\n[[station]]\nid = \"yard\"";
    farm.change(at, &format!("{PEOPLE}{at}"));
    farm.write(
        "blocks.csv",
        &format!(
            "id,name,grower,adviser,scout,crop,regime,dispensers_on,station,varieties,from,acres\n\
             home,Home block,gil,ada,sam,almond,conventional,,yard,Nonpareil,,\n\
             gilded,Gilded lane,gil,ada,,almond,mating-disruption,{year}-03-20,yard,Nonpareil,,\n\
             hollow,Hollow acre,hal,bea,,almond,conventional,,mill,Nonpareil,,\n\
             ivory,Ivory corner,ivy,ada,,almond,conventional,,yard,Nonpareil,,\n"
        ),
    );
    let mut traps = "id,block,kind,hung,route,place,bait,lure\n".to_owned();
    let mut visits = VISITS.lines().next().unwrap().to_owned() + "\n";
    for (letter, block) in TRAPS {
        for place in 1..=4 {
            traps.push_str(&format!(
                "{letter}-e{place},{block},egg,{year}-03-15,way-of-{block},,meal,\n"
            ));
        }
        traps.push_str(&format!(
            "{letter}-p1,{block},pheromone,{year}-03-15,way-of-{block},,,lure\n"
        ));
        let read = VISITS.lines().skip(1);
        // No part goes in on the day of the start: its name stands beside that day.
        let read = read.map(|line| {
            line.replace("no,bait", "no,")
                .replace("2022", &year.to_string())
        });
        visits.extend(read.map(|line| line.replace(",e", &format!(",{letter}-e")) + "\n"));
    }
    farm.write("traps.csv", &traps);
    farm.import("round.csv", &visits);
    farm.nightly(&april(16).to_string());
    for (deed, person) in [("hold", "gil"), ("hold", "hal"), ("release", "ivy")] {
        printed(&["alerts", deed, person, "--config", farm.config()]);
    }
    // What may leave leaves with it.
    printed(&["test-mail", "ada", "--config", farm.config()]);
    let sent = "SELECT person FROM outbox WHERE kind = 'alert' AND state = 'sent'";
    assert_eq!(rows(&farm.database(), sent), [["ivy"]]);
    farm
}

fn shown() -> Shown {
    Shown::of(farm(), "")
}

/// Somebody who has signed in, once there is something to see.
fn browser_of(shown: &Shown, person: &str) -> Browser {
    let mut browser = shown.browser();
    let answer = browser.set_password(person, &shown.code(person));
    assert_eq!(answer.status, 303, "{}", answer.text);
    wait_for("the farm is shown", || browser.get("/").status != 503);
    browser
}

/// The mails in the outbox: recipient and id without brackets.
fn mail_of(shown: &Shown, kind: &str, person: &str) -> String {
    let sql = format!(
        "SELECT trim(message_id, '<>') FROM outbox WHERE kind = '{kind}' AND person = '{person}' AND day = '{}'",
        april(16)
    );
    rows(&shown.farm.database(), &sql)[0][0].clone()
}

pub(crate) fn assert_silent(answer: &Answer, forbidden: &[&str], whose: &str) {
    for word in forbidden {
        assert!(
            !answer.text.contains(word),
            "{whose}: {word} in\n{}",
            answer.text
        );
    }
}

/// What a person may look at, and the words that stand nowhere for them.
struct Sight {
    person: &'static str,
    blocks: &'static [&'static str],
    stations: &'static [&'static str],
    /// Growers of whom they see the report.
    reports: &'static [&'static str],
    /// Routes they enter.
    routes: &'static [&'static str],
    /// Mails, by kind and recipient.
    mails: &'static [(&'static str, &'static str)],
    minds: bool,
    never: Vec<&'static str>,
}

const BLOCKS: [&str; 4] = ["home", "gilded", "hollow", "ivory"];
const GROWERS: [&str; 3] = ["gil", "hal", "ivy"];
const MAILS: [(&str, &str); 5] = [
    ("digest", "ada"),
    ("digest", "bea"),
    ("alert", "gil"),
    ("alert", "hal"),
    ("alert", "ivy"),
];

fn never(of: &[&[&'static str]]) -> Vec<&'static str> {
    of.concat()
}

fn sights() -> [Sight; 8] {
    [
        Sight {
            person: "ada",
            blocks: &["home", "gilded", "ivory"],
            stations: &["yard", "mill"],
            reports: &["gil", "ivy"],
            routes: &["home", "gilded", "ivory"],
            mails: &[("digest", "ada"), ("alert", "gil"), ("alert", "ivy")],
            minds: true,
            never: never(&[&OF_HOLLOW]),
        },
        Sight {
            person: "bea",
            blocks: &["hollow"],
            stations: &["yard", "mill"],
            reports: &["hal"],
            routes: &["hollow"],
            mails: &[("digest", "bea"), ("alert", "hal")],
            minds: true,
            never: never(&[&OF_HOME, &OF_GILDED, &OF_IVORY]),
        },
        Sight {
            person: "gil",
            blocks: &["home", "gilded"],
            stations: &["yard"],
            reports: &["gil"],
            routes: &[],
            mails: &[],
            minds: false,
            never: never(&[&OF_HOLLOW, &OF_IVORY, &["Mill pond"]]),
        },
        Sight {
            person: "hal",
            blocks: &["hollow"],
            stations: &["mill"],
            reports: &["hal"],
            routes: &[],
            mails: &[],
            minds: false,
            never: never(&[&OF_HOME, &OF_GILDED, &OF_IVORY, &["Yard logger"]]),
        },
        Sight {
            person: "ivy",
            blocks: &["ivory"],
            stations: &["yard"],
            reports: &["ivy"],
            routes: &["ivory"],
            mails: &[("alert", "ivy")],
            minds: false,
            never: never(&[&OF_HOME, &OF_GILDED, &OF_HOLLOW, &["Mill pond"]]),
        },
        Sight {
            person: "sam",
            blocks: &["home"],
            stations: &["yard"],
            reports: &[],
            routes: &["home"],
            mails: &[],
            minds: false,
            never: never(&[&OF_GILDED, &OF_HOLLOW, &OF_IVORY, &["Mill pond"]]),
        },
        Sight {
            person: "max",
            blocks: &BLOCKS,
            stations: &["yard", "mill"],
            reports: &GROWERS,
            routes: &[],
            mails: &MAILS,
            minds: true,
            never: Vec::new(),
        },
        Sight {
            person: "otto",
            blocks: &[],
            stations: &[],
            reports: &[],
            routes: &[],
            mails: &[],
            minds: false,
            never: never(&[
                &OF_HOME,
                &OF_GILDED,
                &OF_HOLLOW,
                &OF_IVORY,
                &["Yard logger", "Mill pond"],
            ]),
        },
    ]
}

/// Every address to look at, each with whether this person sees it.
fn addresses(shown: &Shown, sight: &Sight) -> Vec<(String, bool)> {
    let (year, as_of) = (year(), april(17));
    let mut all = vec![
        ("/".to_owned(), true),
        ("/?find=o&saying=yes&sort=-due".to_owned(), true),
        ("/stations".to_owned(), true),
        ("/mails".to_owned(), true),
        ("/reports".to_owned(), true),
        ("/account".to_owned(), true),
        ("/mails/tomorrow".to_owned(), sight.minds),
        ("/health".to_owned(), sight.minds),
        ("/round".to_owned(), !sight.routes.is_empty()),
    ];
    for block in BLOCKS {
        let sees = sight.blocks.contains(&block);
        all.push((format!("/block/{block}"), sees));
        // Growers see no day that they have not been told of.
        if sight.minds || !sees {
            all.push((format!("/block/{block}?as-of={as_of}"), sees));
            all.push((format!("/block/{block}/days?as-of={as_of}"), sees));
        }
        let enters = sight.routes.contains(&block);
        all.push((format!("/round?route=way-of-{block}"), enters));
    }
    for station in ["yard", "mill"] {
        let sees = sight.stations.contains(&station);
        all.push((format!("/station/{station}"), sees));
    }
    for grower in GROWERS {
        let sees = sight.reports.contains(&grower);
        if sight.minds || !sees {
            all.push((format!("/report/{grower}/{year}"), sees));
        }
    }
    for mail in MAILS {
        let (id, sees) = (mail_of(shown, mail.0, mail.1), sight.mails.contains(&mail));
        all.push((format!("/mail/{id}"), sees));
        all.push((format!("/mail/{id}/body"), sees));
    }
    all
}

#[test]
fn each_address_shows_everybody_their_own_and_nothing_of_other_peoples() {
    let shown = shown();
    for sight in sights() {
        let mut browser = browser_of(&shown, sight.person);
        for (path, sees) in addresses(&shown, &sight) {
            let answer = browser.get(&path);
            let expected = if sees { 200 } else { 404 };
            assert_eq!(
                answer.status, expected,
                "{} at {path}: {}",
                sight.person, answer.text
            );
            assert_silent(
                &answer,
                &sight.never,
                &format!("{} at {path}", sight.person),
            );
        }
    }
    shown.daemon.stop("-TERM");
}

#[test]
fn who_has_not_signed_in_is_sent_to_the_sign_in_from_everywhere() {
    let shown = Shown::of(Farm::new("2022-04-30"), "");
    let mut browser = shown.browser();
    wait_for("the records are open", || browser.get("/").status != 503);
    for path in [
        "/",
        "/block/home",
        "/block/home/days",
        "/stations",
        "/station/yard",
        "/mails",
        "/mails/tomorrow",
        "/mail/x",
        "/mail/x/body",
        "/reports",
        "/report/gil/2022",
        "/health",
        "/round",
        "/round?route=",
        "/account",
        "/nowhere",
    ] {
        let answer = browser.get(path);
        assert_eq!(answer.status, 303, "{path}");
        assert!(
            answer.header("location").starts_with("/sign-in"),
            "{path}: {}",
            answer.header("location")
        );
        assert_silent(&answer, &["Test orchards", "Home block", "Gil"], path);
    }
    let proof = browser.get("/sign-in").proof();
    for path in [
        "/round",
        "/round/take-back",
        "/mails",
        "/station/yard",
        "/end-sessions",
    ] {
        let answer = browser.send(path, &proof, "");
        assert_eq!(answer.header("location"), "/sign-in", "{path}");
    }
    shown.daemon.stop("-TERM");
}

#[test]
fn nobody_enters_takes_back_or_holds_what_is_not_theirs() {
    let shown = shown();
    let mut browsers: Vec<(&str, Browser)> = ["ada", "bea", "gil", "ivy", "sam", "max", "otto"]
        .into_iter()
        .map(|person| (person, browser_of(&shown, person)))
        .collect();
    let count = |sql: &str| rows(&shown.farm.database(), sql)[0][0].clone();
    let entered = "SELECT count(*) FROM visit WHERE via = 'page'";
    // Rounds of blocks that are none of theirs, and traps of such blocks on a round of theirs.
    let day = SystemClock.now().date_naive() - Days::new(2);
    for (who, route, trap, expected) in [
        ("gil", "home", "h-p1", 404),
        ("max", "home", "h-p1", 404),
        ("otto", "home", "h-p1", 404),
        ("ivy", "home", "h-p1", 404),
        ("bea", "home", "h-p1", 404),
        ("ivy", "ivory", "h-p1", 422),
        ("ada", "home", "o-p1", 422),
        ("sam", "home", "g-p1", 422),
    ] {
        let browser = of(&mut browsers, who);
        let proof = browser.get("/account").proof();
        let fields = format!("form=f-{who}-{trap}&day={day}&count:{trap}:males=3");
        let answer = browser.send(&format!("/round?route=way-of-{route}"), &proof, &fields);
        assert_eq!(answer.status, expected, "{who} on {route}: {}", answer.text);
        assert_eq!(count(entered), "0", "{who} on {route}");
    }

    // What one entered another neither sees nor takes back.
    let sam = of(&mut browsers, "sam");
    let proof = sam.get("/account").proof();
    let fields = format!("form=f1&day={day}&count:h-p1:males=3");
    let answer = sam.send("/round?route=way-of-home", &proof, &fields);
    assert_eq!(answer.status, 303, "{}", answer.text);
    let stored = answer.header("location").to_owned();
    let form = stored.split("stored=").nth(1).unwrap().to_owned();
    assert_eq!(count(entered), "1");
    for who in ["ada", "bea", "gil", "ivy", "max", "otto"] {
        let browser = of(&mut browsers, who);
        let proof = browser.get("/account").proof();
        let fields = format!("form={form}");
        let answer = browser.send("/round/take-back?route=way-of-home", &proof, &fields);
        assert_eq!(answer.status, 404, "{who}: {}", answer.text);
        assert_eq!(count(entered), "1", "{who}");
    }
    let seen = of(&mut browsers, "ada").get(&stored);
    assert!(!seen.text.contains("Take them back"), "{}", seen.text);
    let sam = of(&mut browsers, "sam");
    assert!(sam.get(&stored).text.contains("Take them back"));
    let proof = sam.get("/account").proof();
    let answer = sam.send(
        "/round/take-back?route=way-of-home",
        &proof,
        &format!("form={form}"),
    );
    assert_eq!(answer.status, 303, "{}", answer.text);
    assert_eq!(count(entered), "0");

    // Alerts about blocks of another adviser.
    let held = "SELECT group_concat(person || coalesce(held_by, '-')) FROM outbox WHERE kind = 'alert' AND day = ";
    let held = format!("{held} '{}'", april(16));
    let before = count(&held);
    let hals = mail_of(&shown, "alert", "hal");
    for who in ["ada", "gil", "hal", "ivy", "sam", "max", "otto"] {
        if who == "hal" {
            browsers.push(("hal", browser_of(&shown, "hal")));
        }
        let browser = of(&mut browsers, who);
        let proof = browser.get("/account").proof();
        for (act, mail) in [("release", &*hals), ("hold", "hal"), ("line", &hals)] {
            let fields = format!("mail={mail}&act={act}&line=Ring+me.");
            let answer = browser.send("/mails", &proof, &fields);
            assert!(
                matches!(answer.status, 400 | 404),
                "{who} {act}: {}",
                answer.text
            );
            let known = who == "hal" || who == "max";
            if !known {
                assert_silent(&answer, &["Hal Orme"], who);
            }
            assert_eq!(count(&held), before, "{who} {act}");
        }
    }
    // Nor does anybody learn what became of another's alert.
    let browser = of(&mut browsers, "bea");
    let proof = browser.get("/account").proof();
    let answer = browser.send("/mails", &proof, "mail=ivy&act=hold");
    assert_eq!(answer.status, 400);
    assert_silent(&answer, &["Ivy Reed", "sent"], "bea");
    let answer = browser.send("/mails", &proof, &format!("mail={hals}&act=release"));
    assert_eq!(answer.status, 303, "{}", answer.text);
    shown.daemon.stop("-TERM");
}

fn of<'a>(browsers: &'a mut [(&'static str, Browser)], who: &str) -> &'a mut Browser {
    let mut browsers = browsers.iter_mut();
    &mut browsers.find(|(person, _)| *person == who).unwrap().1
}

#[test]
fn a_grower_sees_no_start_before_the_mail_of_it_has_left() {
    let shown = shown();
    let start = "Apr 12";
    let blocks = [("gil", "home"), ("gil", "gilded"), ("hal", "hollow")];
    for (who, block) in blocks {
        let mut browser = browser_of(&shown, who);
        let day = april(17);
        for path in [
            "/".to_owned(),
            format!("/block/{block}"),
            format!("/block/{block}?as-of={}", april(15)),
            format!("/block/{block}?as-of={day}"),
            format!("/block/{block}/days"),
            "/mails".to_owned(),
        ] {
            let answer = browser.get(&path);
            assert_silent(&answer, &[start], &format!("{who} at {path}"));
        }
        let page = browser.get(&format!("/block/{block}"));
        assert!(page.text.contains("not known yet"), "{}", page.text);
        assert!(!page.text.contains("heat since"), "{}", page.text);
        let days = browser.get(&format!("/block/{block}/days"));
        assert_eq!(days.status, 404);
    }
    let mut ivy = browser_of(&shown, "ivy");
    for path in ["/", "/block/ivory"] {
        assert!(ivy.get(path).text.contains(start), "{path}");
    }
    assert_eq!(ivy.get("/block/ivory/days").status, 200);
    // She enters readings of today all the same.
    let today = SystemClock
        .now()
        .with_timezone(&chrono_tz::America::Los_Angeles);
    let round = ivy.get("/round?route=way-of-ivory");
    let newest = format!("max=\"{}\"", today.date_naive());
    assert!(round.text.contains(&newest), "{}", round.text);
    let mut ada = browser_of(&shown, "ada");
    let page = ada.get(&format!("/block/home?as-of={}", april(16)));
    assert!(page.text.contains(start), "{}", page.text);
    shown.daemon.stop("-TERM");
}
