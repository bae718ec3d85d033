//! What people hear by default: blocks of a grower share mails, people have several roles, calendars are whole.

use crate::harness::{Farm, VISITS, printed, rows};

/// The text of a mail in one line.
fn text(farm: &Farm, name: &str) -> String {
    let bytes = std::fs::read(farm.path("mail").join(name)).unwrap_or_default();
    let mail = mail_parser::MessageParser::default().parse(&bytes);
    let text = mail.and_then(|mail| Some(mail.body_text(0)?.into_owned()));
    let text = text.unwrap_or_else(|| panic!("no {name}: {:?}", farm.mails()));
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn alerts(farm: &Farm) -> Vec<String> {
    let mails = farm.mails().into_iter();
    mails.filter(|name| name.contains("-alert-gil")).collect()
}

/// A second block of Gil's whose egg traps show the start some days after that of `home`.
fn with_a_block_behind(days: u32) -> Farm {
    let farm = Farm::new("2022-05-31");
    // By default growers do not hear of first hatch, which would press the start that it follows.
    let insect = std::fs::read_to_string(farm.path("navel-orangeworm.toml")).unwrap();
    farm.write(
        "navel-orangeworm.toml",
        &insect.replace("growers = true\n", ""),
    );
    farm.add_grower("gil2");
    farm.change("id = \"gil2\"", "id = \"other\"");
    let blocks = std::fs::read_to_string(farm.path("blocks.csv")).unwrap();
    farm.write("blocks.csv", &blocks.replace(",gil2,ada", ",gil,ada"));
    farm.import("round.csv", VISITS);
    let behind = VISITS.lines().skip(1).map(|row| {
        let (date, rest) = row.split_once(',').unwrap();
        let date: chrono::NaiveDate = date.parse().unwrap();
        let shift = if date.to_string().as_str() > "2022-04-06" {
            days
        } else {
            0
        };
        let date = date + chrono::Days::new(u64::from(shift));
        format!("{date},gil2-{rest}\n")
    });
    let header = VISITS.lines().next().unwrap();
    let sheet = format!("{header}\n{}", behind.collect::<String>());
    farm.import("behind.csv", &sheet);
    farm
}

#[test]
fn starts_of_one_growers_blocks_wait_for_each_other_for_five_days_at_the_most() {
    // Confirmed by the checks of 15 and 18 April: both in the mail of the 18th.
    let farm = with_a_block_behind(3);
    for day in 14..=20 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    let told = "SELECT day, count(*) FROM told WHERE person = 'gil' AND event = 'egg-laying-start' GROUP BY 1";
    assert_eq!(rows(&farm.database(), told), [["2022-04-18", "2"]]);
    let alert = text(&farm, "2022-04-18-alert-gil-from-ada.eml");
    assert!(
        alert.contains("- Home block: Apr 12, confirmed; second-generation"),
        "{alert}"
    );
    assert!(
        alert.contains("- Block of gil2: Apr 15, confirmed; second-generation"),
        "{alert}"
    );
    // Twelve days apart the first does not wait longer than five.
    let farm = with_a_block_behind(12);
    for day in 14..=30 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    let days = rows(&farm.database(), told);
    assert_eq!(days.len(), 2, "{days:?}");
    assert_eq!(days[0], ["2022-04-21", "1"]);
}

#[test]
fn who_gathers_key_dates_hears_on_the_day_of_the_week_and_of_corrections_at_once() {
    let farm = Farm::new("2022-05-31");
    farm.change(
        "email = \"gil@test.example\"",
        "email = \"gil@test.example\"\nkey_dates = \"thursday\"",
    );
    farm.import("round.csv", VISITS);
    for day in 14..=22 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    // The start is known on Saturday, the 16th; Thursday is the 21st.
    assert_eq!(alerts(&farm), ["2022-04-21-alert-gil-from-ada.eml"]);
    let note = "date,block,kind,value,note\n2022-04-22,home,egg-laying-start,2022-04-05,own book\n";
    farm.write("note.csv", note);
    let file = farm.path("note.csv");
    printed(&[
        "notes",
        "import",
        file.to_str().unwrap(),
        "--config",
        farm.config(),
    ]);
    farm.nightly("2022-04-23");
    farm.nightly("2022-04-24");
    assert_eq!(alerts(&farm).len(), 2, "{:?}", farm.mails());
}

#[test]
fn the_first_hull_split_is_told_to_the_grower_unless_they_entered_it() {
    let split_by = |by: &str| {
        let farm = Farm::new("2022-07-15");
        farm.import("round.csv", VISITS);
        farm.nightly("2022-07-01");
        let add = [
            "notes",
            "add",
            "--config",
            farm.config(),
            "--block",
            "home",
            "--variety",
            "Nonpareil",
            "--kind",
            "hull-split",
            "--date",
            "2022-07-04",
            "--by",
            by,
        ];
        printed(&add);
        farm.nightly("2022-07-05");
        let told = "SELECT person FROM told WHERE event = 'hull-split' ORDER BY 1";
        rows(&farm.database(), told).concat()
    };
    assert_eq!(split_by("Ada Vance"), ["gil"]);
    assert_eq!(split_by("gil"), ["ada"]);
}

#[test]
fn one_person_has_several_roles_a_block_several_people_and_each_gets_theirs() {
    let farm = Farm::new("2022-05-31");
    let people = "[[person]]\nid = \"sam\"\nname = \"Sam Rowe\"\nrole = [\"scout\"]\nemail = \"sam@test.example\"\n\n\
                  [[person]]\nid = \"bo\"\nname = \"Bo Lind\"\nrole = [\"adviser\", \"grower\"]\nphone = \"559-555-0102\"\n\
                  email = \"bo@test.example\"\n\n\
                  [[person]]\nid = \"meg\"\nname = \"Meg Orr\"\nrole = \"manager\"\nletter = \"wednesday\"\n\
                  email = \"meg@test.example\"\n\n[[station]]";
    farm.change("[[station]]", people);
    farm.write(
        "blocks.csv",
        "id,name,grower,adviser,scout,crop,regime,station,varieties\n\
         home,Home block,gil,ada bo,sam,almond,conventional,yard,Nonpareil\n\
         own,Own block,bo,bo,,almond,conventional,yard,Nonpareil\n",
    );
    farm.import("round.csv", VISITS);
    farm.nightly("2022-04-19");
    farm.nightly("2022-04-20");
    // The letter waits four hours for the adviser's digest.
    farm.nightly("2022-04-21");
    let mails = farm.mails();
    let of = |name: &str| mails.contains(&format!("2022-04-20-{name}.eml"));
    assert!(of("digest-ada") && of("digest-bo"), "{mails:?}");
    assert!(
        of("letter-meg-from-ada") && of("round-sam-from-ada"),
        "{mails:?}"
    );
    assert!(
        !mails.iter().any(|name| name.contains("alert-bo")),
        "{mails:?}"
    );
    let round = text(&farm, "2022-04-20-round-sam-from-ada.eml");
    assert!(
        round.contains("] p1 #") && round.contains("[Ask Ada Vance"),
        "{round}"
    );
    let status = printed(&["status", "--config", farm.config()]);
    for line in [
        "bo (Bo Lind, adviser and grower)",
        "the day's rounds of 1 block",
        "weekly letter of all growers on wednesdays",
    ] {
        assert!(
            status.to_lowercase().contains(&line.to_lowercase()),
            "{line}: {status}"
        );
    }
}

#[test]
fn a_subscribed_calendar_holds_what_has_left_and_is_always_whole() {
    let farm = Farm::new("2022-05-31");
    farm.change("[mail]", "[telling]\ncalendars = \"calendars\"\n\n[mail]");
    farm.import("round.csv", VISITS);
    farm.nightly("2022-04-16");
    let calendar = |who: &str| std::fs::read_to_string(farm.path(&format!("calendars/{who}.ics")));
    // Gil's alert waits four hours for the adviser's digest.
    let first = calendar("gil").unwrap();
    assert!(!first.contains("BEGIN:VEVENT"), "{first}");
    farm.nightly("2022-04-17");
    let second = calendar("gil").unwrap().replace("\r\n ", "");
    assert_eq!(second.matches("BEGIN:VEVENT").count(), 1, "{second}");
    assert!(second.contains("first egg hatch\\, Home block"), "{second}");
    assert!(calendar("ada").unwrap().contains("BEGIN:VEVENT"));
    assert!(second.ends_with("END:VCALENDAR\r\n"), "{second}");
}

#[test]
fn a_start_that_is_not_known_by_the_end_of_may_is_told_to_the_grower_once() {
    let farm = Farm::new("2022-07-15");
    for day in ["2022-05-30", "2022-05-31", "2022-06-01", "2022-06-02"] {
        farm.nightly(day);
    }
    let told = "SELECT person, day FROM told WHERE event = 'start-not-known'";
    assert_eq!(rows(&farm.database(), told), [["gil", "2022-05-31"]]);
    let alert = text(&farm, "2022-05-31-alert-gil-from-ada.eml");
    assert!(alert.contains("telephone 559-555-0101"), "{alert}");
}
