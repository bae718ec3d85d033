//! Commands as people type them: what they print, what they refuse, what they leave alone.

use serde_json::Value;

use crate::harness::{Farm, VISITS, printed, refused, rows, told_farm};

#[test]
fn the_same_file_imported_twice_changes_nothing() {
    let farm = Farm::new("2022-04-30");
    assert_eq!(
        farm.import("round.csv", VISITS),
        "round.csv: 20 added, 0 changed, 0 there already\n"
    );
    let before = rows(&farm.database(), "SELECT * FROM visit ORDER BY trap, day");
    assert_eq!(
        farm.import("round.csv", VISITS),
        "round.csv: 0 added, 0 changed, 20 there already\n"
    );
    assert_eq!(
        rows(&farm.database(), "SELECT * FROM visit ORDER BY trap, day"),
        before
    );
}

#[test]
fn an_edit_keeps_the_old_row_and_the_old_file_does_not_bring_it_back() {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    let edited = "date,trap,eggs\n2022-04-12,e1,7\n";
    assert_eq!(
        farm.import("edit.csv", edited),
        "edit.csv: 0 added, 1 changed (e1 2022-04-12), 0 there already\n"
    );
    let eggs = "SELECT eggs FROM visit WHERE trap = 'e1' AND day = '2022-04-12'";
    assert_eq!(rows(&farm.database(), eggs), [["7"]]);
    let history = "SELECT eggs, via FROM visit_history";
    assert_eq!(rows(&farm.database(), history), [["3", "import round.csv"]]);
    let again = farm.import("round.csv", VISITS);
    assert!(
        again.contains("1 not applied: a later entry has replaced them"),
        "{again}"
    );
    assert_eq!(rows(&farm.database(), eggs), [["7"]]);
}

#[test]
fn a_wrong_row_is_named_and_nothing_of_its_file_is_stored() {
    let farm = Farm::new("2022-04-30");
    farm.write(
        "bad.csv",
        "date,trap,eggs\n2022-04-05,e1,0\n2022-04-05,e9,0\n2022-04-05,e2,many\n",
    );
    let file = farm.path("bad.csv");
    let said = refused(
        2,
        &[
            "visits",
            "import",
            file.to_str().unwrap(),
            "--config",
            farm.config(),
        ],
    );
    assert!(
        said.contains("row 3, column trap, \"e9\": no such trap in traps.csv"),
        "{said}"
    );
    assert!(said.contains("row 4, column eggs, \"many\""), "{said}");
    assert_eq!(
        rows(&farm.database(), "SELECT count(*) FROM visit"),
        [["0"]]
    );
}

#[test]
fn season_gives_json_with_the_start_and_every_mark() {
    let farm = told_farm();
    let text = printed(&[
        "season",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-25",
        "--block",
        "home",
        "--format",
        "json",
    ]);
    let seasons: Value = serde_json::from_str(&text).unwrap();
    let season = &seasons[0];
    assert_eq!(season["block"], "home");
    assert_eq!(season["insect"], "navel-orangeworm");
    assert_eq!(season["as_of"], "2022-04-25");
    let start = &season["egg_laying_start"];
    assert_eq!(
        (&start["status"], &start["date"]),
        (&"confirmed".into(), &"2022-04-12".into())
    );
    // Three of four traps could be read on the first check, and all of them rose.
    assert_eq!(start["evidence"]["checks"][0]["read"], 3);
    assert_eq!(start["evidence"]["checks"][0]["hung"], 4);
    assert_eq!(start["evidence"]["check_before"], "2022-04-08");
    // The table was fetched for 16 April, so it is known to the 15th: 4 days of 20 °F-days.
    assert_eq!(season["degree_days"], 80.0);
    let hatch = &season["marks"][0];
    assert_eq!(
        (&hatch["id"], &hatch["at"]),
        (&"first-hatch".into(), &100.0.into())
    );
    assert_eq!(hatch["status"], "projected");
    // 20 left. The twelve past years have 20 a day and 0.34 of warming since; this season is that
    // much colder and keeps 1.1 of it at first: 19.97 a day, so the 16th falls just short.
    assert_eq!(hatch["date"], "2022-04-17");
    let second = &season["marks"][1];
    // 976 left and 8 that a colder season carries over, at 20.34 a day: 48.4 days, within the 49th
    // from 16 April, 3 June.
    assert_eq!(
        (&second["at"], &second["date"]),
        (&1056.0.into(), &"2022-06-03".into())
    );
    for key in ["name", "status", "date", "early", "late", "reason"] {
        assert!(second.get(key).is_some(), "{key} is missing");
    }
}

#[test]
fn season_for_people_says_the_same() {
    let farm = told_farm();
    let text = printed(&["season", "--config", farm.config(), "--as-of", "2022-04-25"]);
    assert!(text.contains("egg-laying start"), "{text}");
    assert!(text.contains("confirmed Apr 12"), "{text}");
    assert!(text.contains("80 °F-days"), "{text}");
    // Twelve past years alike: 60 / (143 + 1000) a year, 0.34 since their middle.
    let climate = "+0.5 for ten years of warming; this season beside them: last week -0.3, \
                   last sixty days -0.3";
    assert!(text.contains(climate), "{text}");
    let said = refused(
        2,
        &["season", "--config", farm.config(), "--block", "nowhere"],
    );
    assert!(said.contains("block nowhere: no such block"), "{said}");
}

#[test]
fn preview_shows_the_mails_of_a_day_and_tells_nobody() {
    let farm = told_farm();
    let before = rows(
        &farm.database(),
        "SELECT * FROM told ORDER BY person, event, revision",
    );
    assert!(!before.is_empty());
    let out = farm.path("preview");
    let arguments = [
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-16",
        "--out",
        out.to_str().unwrap(),
    ];
    printed(&[&["preview", "alerts"], &arguments[..]].concat());
    printed(&[&["preview", "digest"], &arguments[..]].concat());
    // A day that was told shows the very mails that went.
    let sent = rows(
        &farm.database(),
        "SELECT person, kind, hex(body) FROM outbox JOIN mail_content USING (message_id) ORDER BY kind",
    );
    for row in &sent {
        let from = if row[1] == "alert" { "-from-ada" } else { "" };
        let file = out.join(format!("2022-04-16-{}-{}{from}.eml", row[1], row[0]));
        let bytes = std::fs::read(file).unwrap();
        let hex: String = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
        assert_eq!(hex, row[2]);
    }
    assert_eq!(sent.len(), 2);
    let after = rows(
        &farm.database(),
        "SELECT * FROM told ORDER BY person, event, revision",
    );
    assert_eq!(after, before);
}

#[test]
fn a_night_told_again_tells_nothing_and_an_earlier_one_is_refused() {
    let farm = told_farm();
    let told = "SELECT * FROM told ORDER BY person, event, revision";
    let before = rows(&farm.database(), told);
    assert!(
        farm.nightly("2022-04-16")
            .contains("tell 2022-04-16: told before")
    );
    let again = printed(&[
        "nightly",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-16",
        "--again",
    ]);
    assert!(
        again.contains("tell 2022-04-16: 0 notices, 0 mails queued"),
        "{again}"
    );
    let said = refused(
        2,
        &[
            "nightly",
            "--config",
            farm.config(),
            "--as-of",
            "2022-04-10",
        ],
    );
    assert!(said.contains("2022-04-16 has been told already"), "{said}");
    assert_eq!(rows(&farm.database(), told), before);
}

#[test]
fn a_late_entry_corrects_what_was_told_and_says_why() {
    let farm = Farm::new("2022-06-30");
    // Without its readings of 12 April the start is confirmed for 15 April.
    let (late, on_time): (Vec<&str>, Vec<&str>) = VISITS
        .lines()
        .partition(|line| line.starts_with("2022-04-12"));
    let more =
        "\n2022-04-19,e1,40,,,\n2022-04-19,e2,40,,,\n2022-04-19,e3,40,,,\n2022-04-19,e4,40,,,\n";
    farm.import("on-time.csv", &(on_time.join("\n") + more));
    farm.nightly("2022-04-10");
    farm.nightly("2022-04-20");
    farm.import(
        "late.csv",
        &format!("{}\n{}\n", on_time[0], late.join("\n")),
    );
    farm.nightly("2022-04-24");
    let starts = "SELECT person, revision, value FROM told WHERE event = 'egg-laying-start' ORDER BY person, revision";
    assert_eq!(
        rows(&farm.database(), starts),
        [
            ["ada", "1", "2022-04-15"],
            ["ada", "2", "2022-04-12"],
            ["gil", "1", "2022-04-15"],
            ["gil", "2", "2022-04-12"],
        ]
    );
    let digest = std::fs::read_to_string(farm.path("mail/2022-04-24-digest-ada.eml")).unwrap();
    let digest = digest.replace("=\r\n", "");
    assert!(digest.contains("corrected"), "{digest}");
    assert!(digest.contains("instead of Apr 15"), "{digest}");
}

#[test]
fn status_shows_stations_jobs_and_outbox() {
    let farm = told_farm();
    let text = printed(&["status", "--config", farm.config()]);
    for line in [
        "station Yard logger: newest complete day 2022-04-15",
        "fetch: done for 2022-04-16",
        "tell: done for 2022-04-16",
        "outbox: 1 waiting",
        "next digests:",
    ] {
        assert!(text.contains(line), "{line:?} is missing in\n{text}");
    }
}

#[test]
fn late_temperatures_and_a_night_told_again_do_not_tell_a_grower_before_the_adviser() {
    let farm = Farm::new("2022-04-14");
    farm.import("round.csv", VISITS);
    farm.nightly("2022-04-15");
    let told = |farm: &Farm| {
        rows(
            &farm.database(),
            "SELECT person, event FROM told ORDER BY 1, 2",
        )
    };
    let before = told(&farm);
    // A note entered after the morning's telling makes the start firm at an earlier day.
    farm.write(
        "note.csv",
        "date,block,variety,kind,value,note\n2022-04-14,home,,egg-laying-start,2022-04-02,seen\n",
    );
    let file = farm.path("note.csv");
    printed(&[
        "notes",
        "import",
        file.to_str().unwrap(),
        "--config",
        farm.config(),
    ]);
    printed(&[
        "nightly",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-15",
        "--again",
    ]);
    assert_eq!(told(&farm), before);
    farm.nightly("2022-04-16");
    let after = told(&farm);
    for person in ["ada", "gil"] {
        let of = |rows: &[Vec<String>]| rows.iter().filter(|row| row[0] == person).count();
        assert!(of(&after) > of(&before), "{person}");
    }
}

#[test]
fn that_a_lure_was_in_life_after_all_is_told_to_nobody() {
    let farm = Farm::new("2022-12-31");
    farm.import("round.csv", VISITS);
    // The lure of p1 hangs since 15 March for 42 days: its last day is 26 April.
    farm.nightly("2022-04-26");
    farm.nightly("2022-04-28");
    let told = "SELECT revision, value FROM told WHERE person = 'ada' AND event GLOB 'past-*:lure:*' ORDER BY revision";
    assert_eq!(rows(&farm.database(), told), [["1", "2022-04-26"]]);
    farm.import(
        "late.csv",
        "date,trap,males,serviced\n2022-04-20,p1,4,lure\n",
    );
    farm.nightly("2022-04-29");
    assert_eq!(rows(&farm.database(), told), [["1", "2022-04-26"]]);
    let of_growers = told.replace("'ada'", "'gil'");
    assert_eq!(
        rows(&farm.database(), &of_growers),
        Vec::<Vec<String>>::new()
    );
}

#[test]
fn service_lists_what_is_due_and_overdue() {
    let farm = Farm::new("2022-12-31");
    farm.import("round.csv", VISITS);
    let said = printed(&[
        "service",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-28",
    ]);
    // The lure hangs since 15 March for 42 days; the bait of 8 April lasts 28 days, to 6 May.
    let line = |trap: &str, what: &str| {
        let mut lines = said
            .lines()
            .filter(|l| l.contains(trap) && l.contains(what));
        lines
            .next()
            .unwrap_or_else(|| panic!("no {what} of {trap} in\n{said}"))
            .to_owned()
    };
    assert!(line("p1", "lure").contains("overdue") && line("p1", "lure").contains("2022-04-26"));
    assert!(!said.contains("2022-05-06"), "{said}");
    let all = printed(&[
        "service",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-28",
        "--all",
    ]);
    assert!(all.contains("2022-05-06"), "{all}");
}

#[test]
fn the_healthcheck_is_about_work_done() {
    let stale = told_farm();
    let said = refused(75, &["status", "--config", stale.config(), "--healthcheck"]);
    assert!(said.contains("newest complete day 2022-04-15"), "{said}");
    assert!(said.contains("was not told"), "{said}");

    // A table that goes on for years is asked only for what has been.
    let fresh = Farm::new("2040-12-31");
    fresh.change("history_years = 12", "history_years = 3");
    printed(&["nightly", "--config", fresh.config()]);
    let said = printed(&["status", "--config", fresh.config(), "--healthcheck"]);
    assert_eq!(said, "healthy\n");

    let clock = printed(&["clock", "--config", fresh.config()]);
    assert!(
        clock.contains("no doubt of it is noted\ndated later: nothing\n"),
        "{clock}"
    );
    let mended = printed(&["clock", "mend", "--yes", "--config", fresh.config()]);
    assert_eq!(mended, "set aside: nothing\n");
}

#[test]
fn what_is_dated_later_than_today_is_no_health_and_is_mended_by_a_clock_that_somebody_agrees_with()
{
    let farm = Farm::new("2040-12-31");
    farm.change("history_years = 12", "history_years = 3");
    let config = ["--config", farm.config()];
    printed(&["nightly", config[0], config[1]]);
    assert_eq!(
        printed(&["status", "--healthcheck", config[0], config[1]]),
        "healthy\n"
    );
    // What a clock a year ahead leaves: a day told and mailed, a fetch, temperatures.
    let ahead = "
        UPDATE job_run SET day = date(day, '+1 year'), first_at = first_at + 31536000,
          started_at = started_at + 31536000, finished_at = finished_at + 31536000;
        UPDATE outbox SET day = date(day, '+1 year'), sent_at = sent_at + 31536000;
        UPDATE fetch_log SET at = at + 31536000;
        UPDATE station_day SET received_at = received_at + 31536000;
        INSERT INTO station_day SELECT station, date(day, '+1 year'), tmin, tmax, unit, tmin_flag, tmax_flag, feed,
          received_at FROM station_day WHERE day > date('now', '-20 days');";
    farm.database().execute_batch(ahead).unwrap();
    let said = refused(75, &["status", "--healthcheck", config[0], config[1]]);
    assert!(said.contains("are dated later than now"), "{said}");
    assert!(said.contains("was not told"), "{said}");
    assert!(
        said.contains("station Yard logger: newest complete day"),
        "{said}"
    );

    // A farm without a network: nobody agrees with the clock but whoever looks at a calendar.
    let mend = ["clock", "mend", "--yes", config[0], config[1]];
    let said = refused(75, &mend);
    assert!(
        said.contains("nothing else says that the clock is right"),
        "{said}"
    );
    let today = said.rsplit("--today ").next().unwrap().trim().to_owned();
    let wrong = refused(2, &[&mend[..], &["--today", "2022-06-20"]].concat());
    assert!(wrong.contains("set the clock first"), "{wrong}");
    let done = printed(&[&mend[..], &["--today", &today]].concat());
    assert!(done.starts_with("set aside: "), "{done}");
    printed(&["nightly", config[0], config[1]]);
    assert_eq!(
        printed(&["status", "--healthcheck", config[0], config[1]]),
        "healthy\n"
    );
}

#[test]
fn a_day_that_has_not_come_is_not_told() {
    let farm = Farm::new("2022-12-31");
    let said = refused(
        2,
        &[
            "nightly",
            "--config",
            farm.config(),
            "--as-of",
            "2999-01-01",
        ],
    );
    assert!(said.contains("2999-01-01 has not come yet"), "{said}");
    assert!(farm.mails().is_empty());
}

#[test]
fn every_command_explains_itself() {
    let help: Vec<String> = [
        "", "demo", "init", "check", "run", "nightly", "status", "season", "service", "round",
        "plan", "preview", "visits", "notes", "outbox", "heat",
    ]
    .iter()
    .map(|command| {
        let arguments: Vec<&str> = command.split_whitespace().chain(["--help"]).collect();
        format!(
            "$ duskflight {}\n{}",
            arguments.join(" "),
            printed(&arguments)
        )
    })
    .collect();
    insta::assert_snapshot!("help", help.join("\n"));
}
