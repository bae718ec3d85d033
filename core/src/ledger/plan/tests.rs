mod rounds;

use std::collections::BTreeSet;

use chrono::Weekday;

use super::*;
use crate::id::{BlockId, MarkId, TrapId};
use crate::ledger::{Event, EventKind, MailIdentity, Value};
use crate::season::tests::{date, received, season_of, started};

/// A Thursday. The start was set by hand to 1 May, and first hatch was passed on the 5th.
fn today() -> NaiveDate {
    may(6)
}

fn may(day: u32) -> NaiveDate {
    date(2021, 5, day)
}

fn id(id: &str) -> PersonId {
    PersonId::new(id).unwrap()
}

fn hearer(who: &str, role: Role) -> Hearer {
    Hearer {
        id: id(who),
        name: who.to_owned(),
        roles: role.into(),
        letter: None,
        key_dates: None,
        rounds: Rounds {
            as_scout: true,
            as_adviser: false,
        },
    }
}

/// What a night is planned from.
struct Farm {
    people: Vec<Hearer>,
    rules: Vec<Rule>,
    seasons: Vec<BlockSeason>,
    told: BTreeMap<PersonId, Vec<Told>>,
    made: MadeMails,
    tonight: Tonight,
}

/// Gil's blocks: one for each of so many advisers, on a morning in season on which nothing was told yet but for
/// quiet nights.
fn farm(advisers: usize) -> Farm {
    let advisers = ["ada", "bo", "cy"].into_iter().take(advisers);
    let of_adviser = |adviser: &str| hearer(adviser, Role::Adviser);
    let mut people: Vec<Hearer> = advisers.clone().map(of_adviser).collect();
    people.push(hearer("gil", Role::Grower));
    people.push(hearer("fay", Role::Other));
    let season = season_of(&received(today()), &started(), today());
    let newest = advisers.clone().map(|adviser| (id(adviser), may(5)));
    Farm {
        people,
        rules: Vec::new(),
        told: BTreeMap::new(),
        made: MadeMails {
            newest_digest: newest.collect(),
            last_made: Some(may(5)),
            ..MadeMails::default()
        },
        seasons: advisers
            .map(|adviser| {
                let mut season = season.clone();
                for reading in &mut season.marks {
                    reading.to_growers = true;
                }
                season.block.id = BlockId::new(&format!("of-{adviser}")).unwrap();
                season.block.grower = id("gil");
                season.block.adviser = id(adviser);
                season
            })
            .collect(),
        tonight: Tonight {
            day: today(),
            pace: Pace::Daily,
            told_before: Some(may(5)),
            owed_before: may(5),
            most_mails: 4,
            share_days: 5,
            letters: Letters::OnTheirDay,
        },
    }
}

impl Farm {
    fn plans<T>(&self, look: impl FnOnce(&[MailPlan<'_>]) -> T) -> T {
        let hearers = Hearers {
            people: &self.people,
            rules: &self.rules,
        };
        let ledger = Ledger::new(self.told.clone());
        look(&plan_night(
            hearers,
            &self.seasons,
            &ledger,
            &self.made,
            &self.tonight,
        ))
    }

    /// Each mail with its recipient and the advisers whose blocks it is about.
    fn mails(&self) -> Vec<String> {
        let line = |plan: &MailPlan<'_>| {
            let kind = plan.kind.map_or("recorded", MailKind::name);
            let about = plan.parts.iter().map(|part| part.adviser.as_str());
            let about: Vec<&str> = about.collect();
            format!("{kind} {} of {}", plan.person, about.join("+"))
        };
        self.plans(|plans| plans.iter().map(line).collect())
    }

    /// What a person is told, with the block that it is of.
    fn heard(&self, person: &str) -> Vec<String> {
        self.plans(|plans| {
            let own = plans.iter().filter(|plan| plan.person.as_str() == person);
            let notices = own.flat_map(|plan| &plan.parts).flat_map(|p| &p.notices);
            let line = |notice: &Notice| {
                let (block, kind) = (&notice.block, notice.event.kind().name());
                format!("{block} {kind} {}", notice.change.name())
            };
            notices.map(line).collect()
        })
    }

    fn catch_up_days(&self, person: &str) -> Vec<Option<u64>> {
        self.plans(|plans| {
            let own = plans.iter().filter(|plan| plan.person.as_str() == person);
            let parts = own.flat_map(|plan| &plan.parts);
            parts.map(|p| p.catch_up.map(|c| c.days)).collect()
        })
    }

    fn tell(&mut self, person: &str, event: &Event, day: NaiveDate) -> &mut Told {
        let told = Told {
            year: 2021,
            block: self.seasons[0].block.id.clone(),
            insect: self.seasons[0].insect.clone(),
            event: event.to_string(),
            revision: 1,
            value: Some(Value::Day(day)),
            on: may(5),
            step: 1,
            history: false,
            of_variety: false,
            corrected_on: None,
            taken_back: None,
        };
        let of_person = self.told.entry(id(person)).or_default();
        of_person.push(told);
        of_person.last_mut().unwrap()
    }

    fn make(&mut self, kind: MailKind, person: &str, adviser: Option<&str>) {
        self.made.today.insert(MailIdentity {
            kind,
            person: id(person),
            adviser: adviser.map(id),
            day: today(),
            about: String::new(),
        });
    }

    fn gil(&mut self) -> &mut Hearer {
        let mut people = self.people.iter_mut();
        people.find(|person| person.id.as_str() == "gil").unwrap()
    }
}

fn hatch() -> Event {
    Event::MarkPassed(MarkId::new("first-hatch").unwrap())
}

fn rule(person: &str, blocks: &[&str], growers: &[&str], tell: &[EventKind]) -> Rule {
    Rule {
        people: vec![id(person)],
        growers: growers.iter().map(|&grower| id(grower)).collect(),
        blocks: blocks.iter().map(|id| BlockId::new(id).unwrap()).collect(),
        tell: tell.to_vec(),
    }
}

const START: &str = "of-ada egg-laying-start new";
const HATCH: &str = "of-ada mark-passed new";

#[test]
fn people_hear_by_role_and_by_the_rules_that_name_them_of_the_blocks_that_those_name() {
    use EventKind::{FlightPeak, MarkPassed, Start};
    let of_bo = ["of-bo egg-laying-start new", "of-bo mark-passed new"];
    type Row<'a> = (&'a str, Option<Rule>, Vec<&'a str>);
    let table: [Row<'_>; 9] = [
        ("ada", None, vec![START, HATCH]),
        ("gil", None, vec![START, HATCH, of_bo[0], of_bo[1]]),
        ("fay", None, vec![]),
        (
            "fay",
            Some(rule("fay", &[], &[], &[Start])),
            vec![START, of_bo[0]],
        ),
        (
            "fay",
            Some(rule("fay", &["of-ada"], &[], &[MarkPassed])),
            vec![HATCH],
        ),
        (
            "fay",
            Some(rule("fay", &[], &["gil"], &[MarkPassed])),
            vec![HATCH, of_bo[1]],
        ),
        (
            "fay",
            Some(rule("fay", &[], &["someone"], &[MarkPassed])),
            vec![],
        ),
        ("fay", Some(rule("fay", &[], &[], &[FlightPeak])), vec![]),
        // Of the own blocks an adviser hears by digest alone.
        (
            "ada",
            Some(rule("ada", &[], &[], &[Start])),
            vec![START, HATCH, of_bo[0]],
        ),
    ];
    for (person, rule, expected) in table {
        let mut farm = farm(2);
        farm.rules.extend(rule.clone());
        assert_eq!(farm.heard(person), expected, "{person} {rule:?}");
    }
}

#[test]
fn what_somebody_was_told_when_a_rule_still_named_them_is_corrected_and_nothing_else_is_told() {
    let mut farm = farm(1);
    farm.tell("fay", &hatch(), may(1)).on = may(2);
    assert_eq!(farm.heard("fay"), ["of-ada mark-passed corrected"]);
    assert_eq!(farm.mails()[2..], ["alert fay of ada"]);
    // An adviser who was told of a block by digest is not told by alert once another one advises it.
    farm.people.push(hearer("bo", Role::Adviser));
    farm.tell("bo", &hatch(), may(1));
    assert_eq!(farm.heard("bo"), [""; 0]);
}

#[test]
fn what_comes_first_at_harvest_is_not_even_taken_back_from_anybody_but_an_adviser() {
    let mut farm = farm(1);
    let turned = Event::MarginTurned(MarkId::new("third-generation").unwrap(), "Nonpareil".into());
    for person in ["ada", "gil", "fay"] {
        farm.tell(person, &turned, may(1));
    }
    let withdrawn = "of-ada margin-turned withdrawn";
    assert!(farm.heard("ada").contains(&withdrawn.to_owned()));
    assert_eq!(farm.heard("gil"), [START, HATCH]);
    assert_eq!(farm.heard("fay"), [""; 0]);
}

#[test]
fn digests_come_first_and_what_is_over_the_daily_limit_is_one_summary() {
    let digests = ["digest ada of ada", "digest bo of bo", "digest cy of cy"];
    let table: [(usize, &[&str]); 5] = [
        (0, &[]),
        (1, &["summary gil of ada+bo+cy"]),
        (2, &["alert gil of ada", "summary gil of bo+cy"]),
        (
            3,
            &["alert gil of ada", "alert gil of bo", "alert gil of cy"],
        ),
        (
            9,
            &["alert gil of ada", "alert gil of bo", "alert gil of cy"],
        ),
    ];
    for (most, expected) in table {
        let mut farm = farm(3);
        farm.tonight.most_mails = most;
        let mails = farm.mails();
        assert_eq!(mails[..3], digests);
        assert_eq!(mails[3..], *expected, "{most}");
    }
}

#[test]
fn the_most_urgent_mail_stays_a_single_one_and_letters_are_the_least_urgent() {
    let mut farm = farm(3);
    farm.gil().letter = Some(Weekday::Thu);
    farm.tonight.most_mails = 3;
    // A correction of the last adviser's block goes before the others' news.
    let block = farm.seasons[2].block.id.clone();
    farm.tell("gil", &hatch(), may(1)).block = block;
    let mails = farm.mails();
    let expected = [
        "alert gil of cy",
        "alert gil of ada",
        "summary gil of bo+ada+bo+cy",
    ];
    assert_eq!(mails[3..], expected);
}

#[test]
fn digests_and_mails_made_before_count_and_a_made_summary_leaves_no_room() {
    let all = rule("ada", &[], &[], &[EventKind::Start]);
    let mut alerted = farm(3);
    alerted.rules.push(all);
    let of_ada = |farm: &Farm| -> Vec<String> {
        let mails = farm.mails().into_iter();
        mails.filter(|mail| mail.contains(" ada ")).collect()
    };
    alerted.tonight.most_mails = 2;
    assert_eq!(
        of_ada(&alerted),
        ["digest ada of ada", "summary ada of bo+cy"]
    );
    alerted.tonight.most_mails = 3;
    let single = ["digest ada of ada", "alert ada of bo", "alert ada of cy"];
    assert_eq!(of_ada(&alerted), single);

    // Bo's digest and what Gil was told of Bo's block left before; another adviser's is told with the room left.
    let mut again = farm(3);
    again.make(MailKind::Digest, "bo", Some("bo"));
    again.make(MailKind::Alert, "gil", Some("bo"));
    again.tonight.most_mails = 2;
    let expected = [
        "digest ada of ada",
        "digest cy of cy",
        "summary gil of ada+cy",
    ];
    assert_eq!(again.mails(), expected);
    again.make(MailKind::Summary, "gil", None);
    assert_eq!(again.mails(), expected[..2]);
    assert_eq!(again.heard("gil"), [""; 0]);
}

#[test]
fn a_mail_that_left_before_is_not_made_again_and_its_news_waits() {
    let mut farm = farm(2);
    farm.make(MailKind::Alert, "gil", Some("ada"));
    let expected = ["digest ada of ada", "digest bo of bo", "alert gil of bo"];
    assert_eq!(farm.mails(), expected);
    // A digest that was made takes all with it that it would list.
    farm.make(MailKind::Digest, "bo", Some("bo"));
    assert_eq!(farm.mails(), expected[..1]);
}

#[test]
fn a_letter_is_due_on_its_day_or_when_it_was_missed_or_could_not_be_delivered() {
    let has_letter = |change: fn(&mut Farm)| {
        let mut farm = farm(1);
        farm.gil().letter = Some(Weekday::Wed);
        change(&mut farm);
        farm.mails().contains(&"letter gil of ada".to_owned())
    };
    assert!(has_letter(|farm| farm.gil().letter = Some(Weekday::Thu)));
    assert!(!has_letter(|_| ()));
    assert!(!has_letter(|farm| farm.gil().letter = None));
    // Its day was Wednesday, the 5th.
    assert!(has_letter(|farm| {
        farm.made.newest_digest.insert(id("ada"), may(4));
    }));
    assert!(has_letter(|farm| {
        farm.tonight.letters = Letters::All;
    }));
    for (kind, adviser, expected) in [
        (MailKind::Letter, "ada", true),
        (MailKind::Letter, "bo", false),
        (MailKind::Alert, "ada", false),
    ] {
        let mut farm = farm(1);
        farm.gil().letter = Some(Weekday::Wed);
        farm.made.folded.push(Folded {
            kind,
            person: id("gil"),
            advisers: vec![id(adviser)],
        });
        let mails = farm.mails();
        let letter = mails.iter().any(|mail| mail.starts_with("letter"));
        assert_eq!(letter, expected, "{mails:?}");
    }
    // Off the season there are none, and only those who have blocks get any.
    assert!(!has_letter(|farm| {
        farm.gil().letter = Some(Weekday::Thu);
        farm.tonight.pace = Pace::Weekly;
    }));
    assert!(!has_letter(|farm| {
        farm.gil().letter = Some(Weekday::Thu);
        farm.seasons[0].block.grower = id("fay");
    }));
}

#[test]
fn a_letter_says_what_is_told_beside_it_and_what_was_told_before_once_each() {
    let mut farm = farm(1);
    farm.gil().letter = Some(Weekday::Thu);
    farm.tell("gil", &hatch(), may(2));
    farm.plans(|plans| {
        let part = plans.iter().flat_map(|plan| &plan.parts);
        let told: Vec<_> = part
            .filter_map(|part| match &part.tells {
                Tells::Letter(told) => Some(told),
                _ => None,
            })
            .flatten()
            .map(|told| (told.event.as_str(), told.value, told.on))
            .collect();
        let day = |d| Some(Value::Day(may(d)));
        let expected = [
            ("egg-laying-start", day(1), today()),
            ("mark-passed:first-hatch", day(5), today()),
        ];
        assert_eq!(told, expected);
    });
}

#[test]
fn off_the_season_growers_hear_only_what_takes_back_what_they_were_told() {
    let mut farm = farm(1);
    farm.tonight.pace = Pace::Weekly;
    assert_eq!(farm.mails(), ["digest ada of ada"]);
    assert_eq!(farm.heard("ada"), [START, HATCH]);
    farm.tell("gil", &hatch(), may(1));
    assert_eq!(farm.mails(), ["digest ada of ada", "alert gil of ada"]);
    assert_eq!(farm.heard("gil"), ["of-ada mark-passed corrected"]);
    let anew = [Role::Adviser, Role::Grower, Role::Other];
    let anew = |pace: Pace| anew.map(|role| pace.tells_anew(&role.into()));
    assert_eq!(anew(Pace::Daily), [true; 3]);
    assert_eq!(anew(Pace::Weekly), [true, false, false]);
}

#[test]
fn on_the_first_night_what_has_passed_is_history_that_the_adviser_reads_and_others_do_not() {
    let mut farm = farm(1);
    farm.tonight.told_before = None;
    farm.made.newest_digest.clear();
    farm.made.last_made = None;
    assert_eq!(farm.mails(), ["digest ada of ada", "recorded gil of ada"]);
    let history = [START, HATCH].map(|line| line.replace("new", "history"));
    assert_eq!(farm.heard("ada"), history);
    assert_eq!(farm.heard("gil"), history);
}

#[test]
fn an_adviser_whose_first_digest_never_left_gets_its_list_again_and_a_grower_none() {
    let mut farm = farm(1);
    for person in ["ada", "gil"] {
        farm.tell(person, &Event::Start, may(1)).history = true;
        farm.tell(person, &hatch(), may(5)).history = true;
        for told in farm.told.get_mut(&id(person)).unwrap() {
            told.on = today();
        }
    }
    assert_eq!(farm.heard("ada"), [""; 0]);
    farm.made.newest_digest.clear();
    let history = [START, HATCH].map(|line| line.replace("new", "history"));
    assert_eq!(farm.heard("ada"), history);
    assert_eq!(farm.heard("gil"), [""; 0]);
    assert_eq!(farm.mails(), ["digest ada of ada"]);
}

#[test]
fn mails_make_up_for_days_without_any_and_for_what_was_folded_and_are_one_then() {
    let mut farm = farm(2);
    assert_eq!(farm.catch_up_days("gil"), [None, None]);
    // Nobody was told for three days; Ada's last digest that left is older still.
    farm.made.last_made = Some(may(2));
    farm.made.newest_digest.insert(id("ada"), may(1));
    assert_eq!(farm.catch_up_days("ada"), [Some(5)]);
    assert_eq!(farm.catch_up_days("bo"), [None]);
    assert_eq!(farm.catch_up_days("gil"), [Some(4), Some(4)]);
    assert_eq!(farm.mails()[2..], ["summary gil of ada+bo"]);
    // What was told of Ada's blocks since the last of April was folded tonight; of Bo's nothing was.
    let silent = (id("gil"), id("ada"));
    farm.made.silent_from.insert(silent, date(2021, 4, 30));
    assert_eq!(farm.catch_up_days("gil"), [Some(4), Some(4)]);
    farm.made.folded.push(Folded {
        kind: MailKind::Alert,
        person: id("gil"),
        advisers: vec![id("ada")],
    });
    assert_eq!(farm.catch_up_days("gil"), [Some(7), Some(4)]);
    farm.made.last_made = Some(may(5));
    assert_eq!(farm.catch_up_days("gil"), [Some(7), None]);
    assert_eq!(farm.mails()[2..], ["summary gil of ada+bo"]);
}

#[test]
fn each_block_of_many_is_heard_of_once() {
    let mut farm = farm(1);
    let season = farm.seasons[0].clone();
    farm.seasons = (0..300)
        .map(|n| {
            let mut season = season.clone();
            season.block.id = BlockId::new(&format!("B{n}")).unwrap();
            season
        })
        .collect();
    farm.rules.push(rule("fay", &[], &[], &[EventKind::Start]));
    let blocks = |heard: Vec<String>| -> BTreeSet<String> {
        let blocks = heard.iter().filter_map(|line| line.split(' ').next());
        blocks.map(str::to_owned).collect()
    };
    for person in ["ada", "gil", "fay"] {
        assert_eq!(blocks(farm.heard(person)).len(), 300, "{person}");
    }
    assert_eq!(farm.heard("fay").len(), 300);
    assert_eq!(farm.mails().len(), 3);
}

#[test]
fn many_dates_taken_back_at_once_wait_for_somebody_to_look_and_so_does_a_fifth_of_what_was_told() {
    use crate::id::TrapId;
    let catch = |number: u32| {
        let trap = TrapId::new(&format!("n-{number}")).unwrap();
        Event::SentinelCatch(trap, may(4))
    };
    // `stands`: told, and still so.
    let waits = |taken_back: u32, stands: u32| {
        let mut farm = farm(1);
        for number in 0..taken_back {
            farm.tell("gil", &catch(number), may(4));
        }
        for number in 0..stands {
            // Trap work is never taken back.
            let trap = TrapId::new(&format!("t-{number}")).unwrap();
            let lapse = Event::PastServiceLife(trap, crate::orchard::Part::Lure, may(1));
            farm.tell("gil", &lapse, may(4));
        }
        farm.plans(|plans| {
            assert_eq!(plans[0].kind, Some(MailKind::Digest));
            assert!(!plans[0].waits_for_release);
            let alert = plans.iter().find(|plan| plan.kind == Some(MailKind::Alert));
            alert.map(|alert| alert.waits_for_release)
        })
    };
    assert_eq!(waits(2, 0), Some(false));
    assert_eq!(waits(3, 12), Some(true));
    assert_eq!(waits(3, 13), Some(false));
    assert_eq!(waits(5, 40), Some(false));
    assert_eq!(waits(6, 40), Some(true));
}
