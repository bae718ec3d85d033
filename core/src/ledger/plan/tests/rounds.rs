//! Mails of the rounds on which readings are due.

use super::*;
use crate::orchard::TrapKind;
use crate::trapping::ReadingDue;

/// A reading that is due in so many days.
fn reading(trap: &str, route: &str, in_days: i64) -> ReadingDue {
    ReadingDue {
        trap: TrapId::new(trap).unwrap(),
        kind: TrapKind::Pheromone,
        route: route.to_owned(),
        last: None,
        last_count: None,
        due: today() + TimeDelta::days(in_days),
        every_days: 7,
        optional: false,
        eggs_left: 0,
    }
}

/// Ada's three blocks with traps that are due: one on two routes, one on the route `west`, and one of Bo's; Sam is
/// scout of the first two.
fn scouted() -> Farm {
    let mut farm = farm(2);
    farm.people.push(hearer("sam", Role::Other));
    let more = farm.seasons[0].clone();
    farm.seasons.insert(1, more);
    let work = [
        vec![reading("A1", "west", 0), reading("A2", "east", -1)],
        vec![reading("B1", "west", 0), reading("B2", "", 1)],
        vec![reading("C1", "", 0)],
    ];
    for (season, readings) in farm.seasons.iter_mut().zip(work) {
        season.work.readings = readings;
        season.work.service.clear();
    }
    for season in &mut farm.seasons[..2] {
        season.block.scouts = vec![id("sam")];
    }
    farm.seasons[1].block.id = BlockId::new("of-ada-2").unwrap();
    farm
}

/// Each round with its route and blocks.
fn rounds(farm: &Farm) -> Vec<String> {
    farm.plans(|plans| {
        let rounds = plans.iter().filter_map(|plan| match &plan.parts[0].tells {
            Tells::Round(route) => Some((plan, route)),
            _ => None,
        });
        let line = |(plan, route): (&MailPlan<'_>, &String)| {
            let blocks = plan.parts[0].seasons.iter();
            let blocks: Vec<&str> = blocks.map(|season| season.block.id.as_str()).collect();
            format!(
                "{} of {}: {route}: {}",
                plan.person,
                plan.parts[0].adviser,
                blocks.join(" ")
            )
        };
        rounds.map(line).collect()
    })
}

#[test]
fn each_route_on_which_readings_are_due_is_a_mail_to_whoever_walks_it() {
    let mut farm = scouted();
    let [east, west] = [
        "sam of ada: east: of-ada",
        "sam of ada: west: of-ada of-ada-2",
    ];
    // Bo has the work in the digest.
    assert_eq!(rounds(&farm), [east, west]);
    let bo = farm
        .people
        .iter_mut()
        .find(|person| person.id == id("bo"))
        .unwrap();
    bo.rounds.as_adviser = true;
    assert_eq!(rounds(&farm), ["bo of bo: : of-bo", east, west]);
    // One that was made is not made again, but the others are.
    farm.made.today.insert(MailIdentity {
        kind: MailKind::Round,
        person: id("sam"),
        adviser: Some(id("ada")),
        day: today(),
        about: "west".to_owned(),
    });
    assert_eq!(rounds(&farm), ["bo of bo: : of-bo", east]);
    let sam = farm
        .people
        .iter_mut()
        .find(|person| person.id == id("sam"))
        .unwrap();
    sam.rounds.as_scout = false;
    assert_eq!(rounds(&farm), ["bo of bo: : of-bo"]);
    farm.tonight.pace = Pace::Weekly;
    assert_eq!(rounds(&farm), [""; 0]);
}

#[test]
fn a_closed_block_stands_on_the_rounds_of_others_and_has_none_of_its_own() {
    let mut farm = scouted();
    farm.seasons[0].work.closed_until = Some(may(20));
    assert_eq!(rounds(&farm), ["sam of ada: west: of-ada-2 of-ada"]);
    farm.seasons[1].work.closed_until = Some(may(20));
    assert_eq!(rounds(&farm), [""; 0]);
}

#[test]
fn a_reading_that_may_be_left_out_makes_no_round() {
    let mut farm = scouted();
    farm.seasons[0].work.readings[1].optional = true;
    assert_eq!(rounds(&farm), ["sam of ada: west: of-ada of-ada-2"]);
}

#[test]
fn rounds_take_no_room_from_what_is_told() {
    let mut farm = farm(1);
    farm.tonight.most_mails = 1;
    let before = farm.mails();
    for route in ["east", "west"] {
        farm.made.today.insert(MailIdentity {
            kind: MailKind::Round,
            person: id("gil"),
            adviser: Some(id("ada")),
            day: today(),
            about: route.to_owned(),
        });
    }
    assert_eq!(farm.mails(), before);
    assert!(
        before.iter().any(|mail| mail.starts_with("alert gil")),
        "{before:?}"
    );
}
