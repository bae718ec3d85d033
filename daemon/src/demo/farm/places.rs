//! What the farm declares: people and blocks.

use chrono::{Datelike, NaiveDate};
use duskflight_core::ledger::Role;

use super::days::{MonthDay, day_of};

/// Seasons before the one played whose catches are on record.
pub(super) const EARLIER_SEASONS: i32 = 3;
use crate::sheet::csv_text;

/// A person who gets mail. Addresses and telephone numbers are of the kinds reserved for fiction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Person {
    /// Unique id.
    pub id: &'static str,
    /// Name as written.
    pub name: &'static str,
    /// Adviser, grower or scout.
    pub role: Role,
    /// Mail address in the reserved domain `.example`.
    pub email: &'static str,
    /// Telephone number within 555-0100 to 555-0199.
    pub phone: &'static str,
    /// The day of a grower's weekly letter.
    pub letter: Option<&'static str>,
    /// The language of a scout's rounds, where it is not English.
    pub language: Option<&'static str>,
}

/// The weekdays on which a block is visited; once a week means the first of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Round {
    MondayThursday,
    TuesdayFriday,
}

/// How the eggs of a block come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Laying {
    /// Many, on nearly all traps at once.
    Even,
    /// Fewer, most of them on one or two traps.
    Patchy,
    /// A single egg now and then.
    Scarce,
}

/// A block of the farm.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Block {
    pub(super) id: &'static str,
    name: &'static str,
    grower: &'static str,
    acres: u32,
    pub(super) disrupted: bool,
    pub(super) varieties: &'static [&'static str],
    near: &'static str,
    start_group: &'static str,
    start_rule: &'static str,
    pub(super) round: Round,
    pub(super) laying: Laying,
    pub(super) traps: TrapNumbers,
}

impl Block {
    /// The round on which its traps are read: those of one grower.
    pub(super) const fn route(&self) -> &'static str {
        match self.id.as_bytes()[0] {
            b'N' => "slough",
            b'C' => "canal",
            b'H' => "home",
            _ => "river",
        }
    }

    /// Who walks it, where it is not the adviser.
    fn scout(&self) -> &'static str {
        match self.route() {
            "canal" => SCOUT,
            _ => "",
        }
    }

    /// Its place in [`BLOCKS`].
    pub(super) fn index(&self) -> u64 {
        (0..)
            .zip(&BLOCKS)
            .find(|(_, other)| other.id == self.id)
            .map_or(0, |(index, _)| index)
    }
}

/// How many traps of each kind a block has.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct TrapNumbers {
    pub(super) egg: u32,
    pub(super) pheromone: u32,
    pub(super) pheromone_ppo: u32,
    pub(super) bait_bag: u32,
}

const fn numbers(egg: u32, pheromone: u32, pheromone_ppo: u32, bait_bag: u32) -> TrapNumbers {
    TrapNumbers {
        egg,
        pheromone,
        pheromone_ppo,
        bait_bag,
    }
}

/// The block whose sheet of the check that starts egg laying turns up ten days late.
pub(super) const LATE_SHEET_BLOCK: &str = "C1";
/// The block two of whose four egg traps hang in the sprinklers, so that its start is set by hand.
pub(super) const SPRINKLED_BLOCK: &str = "H2";

pub(super) const STATION: &str = "merced";
pub(super) const ADVISER: &str = "orsa";
/// Who walks the canal; the adviser walks the others.
pub const SCOUT: &str = "lucio";

/// Whether the scout answers round mails on a day; on others the readings go onto a sheet.
#[must_use]
pub fn answering(day: NaiveDate) -> bool {
    (6..=7).contains(&day.month())
}

pub(super) const PEOPLE: [Person; 6] = [
    person(
        ADVISER,
        "Orsa Quillan",
        Role::Adviser,
        "orsa@quillan-scouting.example",
        "209-555-0110",
    ),
    person(
        "delmar",
        "Delmar Ostrey",
        Role::Grower,
        "delmar@north-slough.example",
        "209-555-0121",
    ),
    person(
        "ivette",
        "Ivette Cardoway",
        Role::Grower,
        "ivette@canal-orchards.example",
        "209-555-0134",
    ),
    Person {
        letter: Some("friday"),
        ..person(
            "bram",
            "Bram Tollerud",
            Role::Grower,
            "bram@tollerud-home-place.example",
            "209-555-0147",
        )
    },
    person(
        "suneeta",
        "Suneeta Rellan",
        Role::Grower,
        "suneeta@river-orchards.example",
        "209-555-0158",
    ),
    Person {
        language: Some("es"),
        ..person(
            SCOUT,
            "Lucio Amarante",
            Role::Scout,
            "lucio@quillan-scouting.example",
            "209-555-0163",
        )
    },
];

const fn person(
    id: &'static str,
    name: &'static str,
    role: Role,
    email: &'static str,
    phone: &'static str,
) -> Person {
    Person {
        id,
        name,
        role,
        email,
        phone,
        letter: None,
        language: None,
    }
}

/// A block to start from: conventional, its own egg traps, the insect file's rule.
const PLAIN: Block = Block {
    id: "",
    name: "",
    grower: "",
    acres: 0,
    disrupted: false,
    varieties: &[],
    near: "",
    start_group: "",
    start_rule: "",
    round: Round::MondayThursday,
    laying: Laying::Even,
    traps: numbers(0, 0, 0, 0),
};

pub(super) static BLOCKS: [Block; 12] = [
    Block {
        id: "N1",
        name: "North Slough 1",
        grower: "delmar",
        acres: 40,
        varieties: &["Nonpareil", "Monterey", "Fritz"],
        traps: numbers(5, 2, 0, 2),
        ..PLAIN
    },
    Block {
        id: "N2",
        name: "North Slough 2",
        grower: "delmar",
        acres: 38,
        varieties: &["Nonpareil", "Monterey"],
        near: "disruption",
        start_rule: "eggs-twice",
        laying: Laying::Patchy,
        traps: numbers(5, 2, 0, 0),
        ..PLAIN
    },
    Block {
        id: "N3",
        name: "North Slough 3",
        grower: "delmar",
        acres: 62,
        disrupted: true,
        varieties: &["Nonpareil", "Carmel"],
        laying: Laying::Patchy,
        traps: numbers(6, 1, 3, 0),
        ..PLAIN
    },
    Block {
        id: "C1",
        name: "Canal East",
        grower: "ivette",
        acres: 45,
        varieties: &["Nonpareil", "Butte", "Padre"],
        near: "disruption",
        round: Round::TuesdayFriday,
        traps: numbers(5, 2, 0, 0),
        ..PLAIN
    },
    Block {
        id: "C2",
        name: "Canal West",
        grower: "ivette",
        acres: 58,
        disrupted: true,
        varieties: &["Nonpareil", "Aldrich"],
        round: Round::TuesdayFriday,
        traps: numbers(6, 1, 2, 0),
        ..PLAIN
    },
    Block {
        id: "C3",
        name: "Canal South",
        grower: "ivette",
        acres: 30,
        varieties: &["Nonpareil", "Wood Colony"],
        round: Round::TuesdayFriday,
        traps: numbers(4, 2, 0, 0),
        ..PLAIN
    },
    Block {
        id: "H1",
        name: "Home Place",
        grower: "bram",
        acres: 40,
        varieties: &["Nonpareil", "Sonora", "Carmel"],
        laying: Laying::Patchy,
        traps: numbers(5, 2, 0, 1),
        ..PLAIN
    },
    Block {
        id: "H2",
        name: "Home Back Forty",
        grower: "bram",
        acres: 40,
        disrupted: true,
        varieties: &["Nonpareil", "Carmel"],
        traps: numbers(4, 1, 2, 0),
        ..PLAIN
    },
    Block {
        id: "R1",
        name: "River Bend",
        grower: "suneeta",
        acres: 60,
        varieties: &["Nonpareil", "Monterey"],
        start_rule: "share-rising",
        round: Round::TuesdayFriday,
        traps: numbers(6, 2, 0, 2),
        ..PLAIN
    },
    Block {
        id: "R2",
        name: "River Bottom",
        grower: "suneeta",
        acres: 75,
        disrupted: true,
        varieties: &["Nonpareil", "Fritz"],
        round: Round::TuesdayFriday,
        traps: numbers(6, 1, 3, 0),
        ..PLAIN
    },
    Block {
        id: "R3",
        name: "River Levee",
        grower: "suneeta",
        acres: 22,
        disrupted: true,
        varieties: &["Nonpareil", "Fritz"],
        start_group: "R2",
        round: Round::TuesdayFriday,
        traps: numbers(0, 1, 2, 0),
        ..PLAIN
    },
    Block {
        id: "R4",
        name: "Gravel Pit",
        grower: "suneeta",
        acres: 35,
        varieties: &["Nonpareil", "Monterey"],
        near: "disruption pistachio",
        round: Round::TuesdayFriday,
        laying: Laying::Scarce,
        traps: numbers(4, 2, 0, 0),
        ..PLAIN
    },
];

pub(super) fn blocks_csv(year: i32) -> String {
    const HEADER: [&str; 16] = [
        "id",
        "from",
        "name",
        "grower",
        "adviser",
        "scout",
        "crop",
        "acres",
        "regime",
        "dispensers_on",
        "dispensers_until",
        "near",
        "station",
        "varieties",
        "start_group",
        "start_rule",
    ];
    csv_text(HEADER, BLOCKS.iter().map(|block| block_row(block, year)))
}

fn block_row(block: &Block, year: i32) -> [String; 16] {
    let under_disruption = |text: String| if block.disrupted { text } else { String::new() };
    let regime = if block.disrupted {
        "mating-disruption"
    } else {
        "conventional"
    };
    [
        block.id.to_owned(),
        day_of(year - EARLIER_SEASONS, (1, 1)).to_string(),
        block.name.to_owned(),
        block.grower.to_owned(),
        ADVISER.to_owned(),
        block.scout().to_owned(),
        "almond".to_owned(),
        block.acres.to_string(),
        regime.to_owned(),
        under_disruption(day_of(year, DISPENSERS_ON).to_string()),
        under_disruption(day_of(year, DISPENSERS_UNTIL).to_string()),
        block.near.to_owned(),
        STATION.to_owned(),
        block.varieties.join("; "),
        block.start_group.to_owned(),
        block.start_rule.to_owned(),
    ]
}

pub(super) const DISPENSERS_ON: MonthDay = (3, 25);
const DISPENSERS_UNTIL: MonthDay = (9, 30);
