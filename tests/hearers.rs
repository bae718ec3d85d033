//! Who hears what: by role, by rule, off the season, in a weekly letter, and never too much a day.

use crate::harness::{Farm, VISITS, printed, refused, rows};

/// A foreman, another adviser with a block of the same grower, and what else a test declares.
fn farm_with(more: &str) -> Farm {
    let farm = Farm::new("2022-12-31");
    let people = "\
[[person]]\nid = \"fay\"\nname = \"Fay Dunmore\"\nrole = \"other\"\nemail = \"fay@test.example\"\n\n\
[[person]]\nid = \"bo\"\nname = \"Bo Tarn\"\nrole = \"adviser\"\nemail = \"bo@test.example\"\nphone = \"559-555-0103\"\n\n\
[[person]]\nid = \"cy\"\nname = \"Cy Orr\"\nrole = \"adviser\"\nemail = \"cy@test.example\"\nphone = \"559-555-0104\"\n\n";
    farm.change("[[station]]", &format!("{people}{more}\n[[station]]"));
    farm.write(
        "blocks.csv",
        "id,name,grower,adviser,crop,regime,station,varieties,start_group\n\
         home,Home block,gil,ada,almond,conventional,yard,Nonpareil,home\n\
         hill,Hill block,gil,bo,almond,conventional,yard,Nonpareil,home\n\
         creek,Creek block,gil,cy,almond,conventional,yard,Nonpareil,home\n",
    );
    farm
}

/// Told on two mornings, the second of which delivers the alerts of the first.
fn told(farm: &Farm) {
    farm.import("round.csv", VISITS);
    farm.nightly("2022-04-14");
    farm.nightly("2022-04-15");
    farm.nightly("2022-04-16");
}

fn subjects(farm: &Farm, person: &str) -> Vec<String> {
    let sql = format!(
        "SELECT kind || ' from ' || adviser || ': ' || subject FROM outbox WHERE person = '{person}' ORDER BY rowid"
    );
    let rows = rows(&farm.database(), &sql);
    rows.into_iter().map(|mut row| row.remove(0)).collect()
}

fn text(farm: &Farm, name: &str) -> String {
    use mail_parser::MessageParser;
    let bytes = std::fs::read(farm.path("mail").join(name)).unwrap();
    let message = MessageParser::default().parse(&bytes).unwrap();
    message.body_text(0).unwrap().into_owned()
}

const RULE: &str = "[[rule]]\npeople = [\"fay\"]\nblocks = [\"hill\"]\ntell = [\"egg-laying-start\", \"start-provisional\"]\n";

#[test]
fn a_rule_makes_somebody_hear_what_it_names_of_the_blocks_it_names() {
    let farm = farm_with(RULE);
    told(&farm);
    let events = "SELECT DISTINCT block, event FROM told WHERE person = 'fay' ORDER BY 2";
    let heard = rows(&farm.database(), events);
    assert!(
        heard.iter().any(|row| row[1] == "egg-laying-start"),
        "{heard:?}"
    );
    for row in &heard {
        assert_eq!(row[0], "hill");
        assert!(
            ["egg-laying-start", "start-provisional"].contains(&row[1].as_str()),
            "{row:?}"
        );
    }
    let waits = "SELECT DISTINCT digest.adviser FROM outbox JOIN outbox_wait ON mail = outbox.message_id
                 JOIN outbox AS digest ON digest.message_id = outbox_wait.digest WHERE outbox.person = 'fay'";
    assert_eq!(rows(&farm.database(), waits), [["bo"]]);
    // A rule that is gone tells nothing more, and takes nothing back.
    let before = rows(
        &farm.database(),
        "SELECT count(*) FROM told WHERE person = 'fay'",
    );
    farm.change(RULE, "");
    farm.nightly("2022-04-17");
    farm.nightly("2022-04-18");
    let after = rows(
        &farm.database(),
        "SELECT count(*) FROM told WHERE person = 'fay'",
    );
    assert_eq!(after, before);
}

#[test]
fn each_person_stands_in_status_with_what_they_get() {
    let farm = farm_with(RULE);
    farm.change(
        "email = \"gil@test.example\"",
        "email = \"gil@test.example\"\nletter = \"friday\"",
    );
    let status = printed(&["status", "--config", farm.config()]);
    for line in [
        "ada (Ada Vance, adviser): morning digest of 1 block, off the season on Mondays",
        "gil (Gil Marrow, grower): key dates of 3 blocks, weekly letter on Fridays",
        "fay (Fay Dunmore, other): by rule egg-laying-start, start-provisional of 1 block",
    ] {
        assert!(status.contains(line), "{line} is not in\n{status}");
    }
    let silent = farm_with("");
    let status = printed(&["status", "--config", silent.config()]);
    assert!(
        status.contains("fay (Fay Dunmore, other): no mail: no rule names them"),
        "{status}"
    );
    let warning = "person fay: is named in no rule, and so gets no mail";
    assert!(status.contains(warning), "{status}");
}

#[test]
fn a_rule_that_would_tell_nothing_or_too_much_is_refused_with_what_was_meant() {
    let wrong = [
        ("tell = [\"mark-passed\"]", "rule 1: people: nobody hears"),
        (
            "people = [\"fey\"]\ntell = [\"mark-passed\"]",
            "rule 1: people: fey: no such person; did you mean \"fay\"?",
        ),
        (
            "people = [\"fay\"]",
            "rule 1: tell: name at least one kind of news",
        ),
        (
            "people = [\"fay\"]\ntell = [\"mark-past\"]",
            "rule 1: tell: mark-past: no such kind of news; did you mean \"mark-passed\"?",
        ),
        (
            "people = [\"fay\"]\nblocks = [\"hil\"]\ntell = [\"mark-near\"]",
            "rule 1: blocks: hil: no such block in blocks.csv; did you mean \"hill\"?",
        ),
        (
            "people = [\"fay\"]\ngrowers = [\"ada\"]\ntell = [\"mark-near\"]",
            "rule 1: growers: ada: is no grower but adviser",
        ),
        (
            "people = [\"fay\"]\ngrowers = [\"ada\"]\ntell = [\"mark-near\"]",
            "rule 1: it matches no block",
        ),
        (
            "people = [\"gil\"]\ngrowers = [\"gil\"]\ntell = [\"second-candidate\"]",
            "rule 1: tell: second-candidate: is provisional",
        ),
        (
            "people = [\"gil\"]\ngrowers = [\"gil\"]\ntell = [\"mark-near\", \"margin-turned\"]",
            ": rule 1: tell: margin-turned: goes to advisers alone: an early shake is a way of control on one \
             property, and only a licensed adviser tells what follows from it; take it out of this rule \
             (gil: grower)",
        ),
        (
            "people = [\"ada\", \"fay\"]\ntell = [\"margin-turned\"]",
            "only a licensed adviser tells what follows from it; take it out of this rule (fay: other)",
        ),
    ];
    for (rule, says) in wrong {
        let farm = farm_with(&format!("[[rule]]\n{rule}\n"));
        let said = refused(78, &["check", "--config", farm.config()]);
        assert!(said.contains(says), "{rule}: {said}");
    }
    let of_advisers = "[[rule]]\npeople = [\"ada\", \"bo\"]\ntell = [\"margin-turned\"]\n";
    printed(&["check", "--config", farm_with(of_advisers).config()]);
    let alone =
        farm_with("[[rule]]\npeople = [\"bo\"]\nblocks = [\"home\"]\ntell = [\"mark-near\"]\n");
    alone.change("[mail]\n", "[telling]\nmost_mails_a_day = 1\n\n[mail]\n");
    let said = refused(78, &["check", "--config", alone.config()]);
    assert!(
        said.contains("telling.most_mails_a_day must be 2 or more"),
        "{said}"
    );
}

#[test]
fn with_room_for_two_mails_the_most_urgent_goes_alone_and_the_rest_in_one() {
    let farm = farm_with("");
    farm.change("[mail]\n", "[telling]\nmost_mails_a_day = 2\n\n[mail]\n");
    told(&farm);
    let of_the_15th =
        "SELECT kind FROM outbox WHERE person = 'gil' AND day = '2022-04-15' ORDER BY rowid";
    assert_eq!(
        rows(&farm.database(), of_the_15th),
        [["alert"], ["summary"]]
    );
    let by_mail = "SELECT kind, outbox.adviser, count(DISTINCT block) FROM told JOIN outbox ON mail = message_id
                   WHERE told.person = 'gil' AND outbox.day = '2022-04-15' GROUP BY 1, 2 ORDER BY 1";
    assert_eq!(
        rows(&farm.database(), by_mail),
        [["alert", "ada", "1"], ["summary", "", "2"]]
    );
    let waits = "SELECT count(*) FROM outbox_wait WHERE mail LIKE '<summary%'";
    assert_eq!(rows(&farm.database(), waits), [["2"]]);
    farm.nightly("2022-04-17");
    let summary = text(&farm, "2022-04-15-summary-gil.eml");
    for line in [
        "Adviser: Bo Tarn, telephone 559-555-0103",
        "Adviser: Cy Orr, telephone 559-555-0104",
        "Hill block",
        "Creek block",
        "2 mails of key dates",
    ] {
        assert!(summary.contains(line), "{line} is not in\n{summary}");
    }
}

#[test]
fn with_room_for_one_mail_a_grower_of_three_advisers_gets_one() {
    let farm = farm_with("");
    farm.change("[mail]\n", "[telling]\nmost_mails_a_day = 1\n\n[mail]\n");
    farm.change(
        "email = \"gil@test.example\"",
        "email = \"gil@test.example\"\nletter = \"friday\"",
    );
    told(&farm);
    // 15 April 2022 was a Friday: three alerts and three letters.
    let of_the_15th =
        "SELECT kind, adviser FROM outbox WHERE person = 'gil' AND day = '2022-04-15'";
    assert_eq!(rows(&farm.database(), of_the_15th), [["summary", ""]]);
    let blocks = "SELECT count(DISTINCT block) FROM told JOIN outbox ON mail = message_id
                  WHERE told.person = 'gil' AND kind = 'summary' AND event = 'egg-laying-start'";
    assert_eq!(rows(&farm.database(), blocks), [["3"]]);
    farm.nightly("2022-04-17");
    let summary = text(&farm, "2022-04-15-summary-gil.eml");
    assert!(
        summary.contains("3 mails of key dates and 3 weekly letters"),
        "{summary}"
    );
    // Told again on the same day, nothing comes on top.
    let before = subjects(&farm, "gil");
    printed(&[
        "nightly",
        "--again",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-17",
    ]);
    assert_eq!(subjects(&farm, "gil"), before);
}

#[test]
fn a_letter_comes_on_its_day_by_adviser_after_the_digest_and_says_nothing_provisional() {
    let farm = farm_with("");
    farm.change(
        "email = \"gil@test.example\"",
        "email = \"gil@test.example\"\nletter = \"wednesday\"",
    );
    farm.import("round.csv", VISITS);
    // Wednesday, 13 April: one check has eggs, the start is provisional.
    farm.nightly("2022-04-13");
    for day in 14..=21 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    let letters = "SELECT day, adviser, state FROM outbox WHERE kind = 'letter' ORDER BY rowid";
    // Of the 13th the others' blocks, whose start is borrowed and not known, have nothing to say.
    let expected = [
        ["2022-04-13", "ada"],
        ["2022-04-20", "ada"],
        ["2022-04-20", "bo"],
        ["2022-04-20", "cy"],
    ];
    let expected = expected.map(|[day, adviser]| [day, adviser, "sent"]);
    assert_eq!(rows(&farm.database(), letters), expected);
    let first = text(&farm, "2022-04-13-letter-gil-from-ada.eml");
    assert!(
        first.contains("the egg-laying start is not yet known"),
        "{first}"
    );
    assert!(!first.contains("provisional"), "{first}");
    let second = text(&farm, "2022-04-20-letter-gil-from-ada.eml");
    for line in [
        "egg-laying start: confirmed Apr 12",
        "Ask your adviser: Ada Vance, telephone",
    ] {
        assert!(second.contains(line), "{line} is not in\n{second}");
    }
    assert!(!second.contains("Hill block"), "{second}");
    let digest = text(&farm, "2022-04-20-digest-ada.eml");
    assert!(digest.contains("Gil Marrow: the weekly letter"), "{digest}");
}

#[test]
fn traps_that_hang_before_the_season_are_asked_for_in_the_weekly_digest_and_named_on_their_day() {
    let farm = farm_with("");
    farm.change("from = \"01-01\"", "from = \"03-01\"");
    let declare = |hung: &str| {
        let eggs: String = (1..=4)
            .map(|n| format!("e{n},home,egg,2022-03-15,meal,\n"))
            .collect();
        let header = "id,block,kind,hung,bait,lure\n";
        farm.write(
            "traps.csv",
            &format!("{header}{eggs}p1,home,pheromone,{hung},,lure\n"),
        );
    };
    declare("2022-03-15");
    // Mondays: 31 January, 7 and 14 February. In the south pheromone traps hang by the 15th.
    let digest = |day: &str| {
        farm.nightly(day);
        let text = text(&farm, &format!("{day}-digest-ada.eml"));
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let asked = "moth traps to hang: by Feb 15 (the extension's date): no pheromone trap hangs; 1 declared to hang from Mar 15 on";
    assert!(!digest("2022-01-31").contains("to hang: by"));
    let told = digest("2022-02-07");
    assert!(told.contains(asked), "{told}");
    declare("2022-02-16");
    let told = digest("2022-02-14");
    assert!(
        told.contains("Home block, Feb 16: hang 1 pheromone trap"),
        "{told}"
    );
    let told = digest("2022-03-01");
    assert!(told.contains("egg traps to hang: by Mar 15"), "{told}");
    let told = digest("2022-03-15");
    assert!(told.contains("Home block: hang 4 egg"), "{told}");
    let keys =
        "SELECT DISTINCT event FROM told WHERE person = 'ada' AND event LIKE 'hang-%' ORDER BY day";
    assert_eq!(
        rows(&farm.database(), keys),
        [["hang-moth-traps"], ["hang-egg-traps"]]
    );
}

#[test]
fn off_the_season_advisers_hear_once_a_week_and_growers_only_what_takes_something_back() {
    let farm = farm_with("");
    farm.change("to = \"12-31\"", "to = \"04-17\"");
    told(&farm);
    for day in 17..=26 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    // The season ends on Sunday, 17 April; 18 and 25 April are Mondays.
    let digests = "SELECT day FROM outbox WHERE kind = 'digest' AND person = 'ada' AND day > '2022-04-16' ORDER BY day";
    assert_eq!(
        rows(&farm.database(), digests),
        [["2022-04-17"], ["2022-04-18"], ["2022-04-25"]]
    );
    let weekly = text(&farm, "2022-04-25-digest-ada.eml");
    assert!(
        weekly.contains("Weekly digest\r\nAs of Monday, April 25, 2022")
            || weekly.contains("Weekly digest\nAs of Monday, April 25, 2022"),
        "{weekly}"
    );
    assert!(
        weekly.contains("Off the season it comes once a week"),
        "{weekly}"
    );
    let subject = subjects(&farm, "ada").pop().unwrap();
    assert!(
        subject.starts_with("digest from ada: Apr 25: "),
        "{subject}"
    );
    // First hatch passed within the season's last days; nothing new was told to the grower after it.
    let late = "SELECT event FROM told WHERE person = 'gil' AND day > '2022-04-17'";
    assert_eq!(rows(&farm.database(), late), Vec::<Vec<String>>::new());

    // The start turns out to be another one: a wrong date must not stand.
    farm.write(
        "notes.csv",
        "date,block,kind,value,note\n2022-04-27,home,egg-laying-start,2022-04-02,own book\n",
    );
    let notes = farm.path("notes.csv");
    printed(&[
        "notes",
        "import",
        notes.to_str().unwrap(),
        "--config",
        farm.config(),
    ]);
    farm.nightly("2022-05-01");
    let corrected = "SELECT day, change FROM told WHERE person = 'gil' AND block = 'home'
                     AND event = 'egg-laying-start' AND day > '2022-04-17'";
    assert_eq!(rows(&farm.database(), corrected), Vec::<Vec<String>>::new());
    farm.nightly("2022-05-02");
    assert_eq!(
        rows(&farm.database(), corrected),
        [["2022-05-02", "corrected"]]
    );
    let said = farm.nightly("2022-05-03");
    assert!(
        said.contains("out of season, nobody is told today"),
        "{said}"
    );
}

#[test]
fn a_letter_can_be_looked_at_on_any_day_and_makes_no_other_mail_of_that_day_differ() {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    let preview = |kind: &str| {
        let day = ["--config", farm.config(), "--as-of", "2022-04-16"];
        printed(&[&["preview", kind], &day[..]].concat())
    };
    let digest = preview("digest");
    assert!(preview("letter").starts_with("no mail for 2022-04-16"));
    // 16 April 2022 was a Saturday.
    farm.change(
        "email = \"gil@test.example\"",
        "email = \"gil@test.example\"\nletter = \"wednesday\"",
    );
    assert!(preview("letter").contains("Subject: Week to Apr 16"));
    assert_eq!(preview("digest"), digest);
}
