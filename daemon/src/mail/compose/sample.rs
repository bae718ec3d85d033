//! An invented farm of twelve blocks on one June morning, worked out by the same calls as a real
//! night, so that the mails under test say what people will read.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Datelike, Days, NaiveDate, NaiveTime};
use duskflight_core::contents::{Alert, Digest, MadeOf, alert, digest, key_dates};
use duskflight_core::id::{
    BlockId, GroupId, InsectId, MarkId, PersonId, ProductId, StationId, TrapId,
};
use duskflight_core::insect::{Insect, InsectFile};
use duskflight_core::ledger::{
    Event, Fact, Hears, Moment, Notice, Past, Role, State, Told, Value, decide, facts,
};
use duskflight_core::orchard::{
    Block, Crop, Dispensers, Orchard, Part, Product, Regime, Trap, TrapKind, own_group,
};
use duskflight_core::season::{BlockSeason, GroupStarts, KeptStarts, StationHeat, assess};
use duskflight_core::temperature::Unit;
use duskflight_core::trapping::{Note, NoteKind, Notes, Visit, Visits};
use duskflight_core::weather::{ReceivedDay, StationWeather};
use duskflight_core::wording::language::Language;
use duskflight_core::wording::{StationView, Words};

/// The morning of the sample mails.
pub(super) const MORNING: NaiveDate = date(2022, 6, 20);
const READ_BEFORE: NaiveDate = date(2022, 6, 18);

const fn date(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).expect("a day of the calendar")
}

/// One block of the sample: its traps and what they caught.
struct Plan<'a> {
    id: &'a str,
    name: &'a str,
    regime: Regime,
    station: &'static str,
    egg_traps: usize,
    moth_traps: usize,
    moths: TrapKind,
    /// The check date of the first eggs.
    eggs_from: Option<NaiveDate>,
    /// The last reading.
    read: NaiveDate,
    /// When the parts of its traps were last replaced.
    serviced: NaiveDate,
}

const fn plan<'a>(id: &'a str, name: &'a str, eggs_from: Option<NaiveDate>) -> Plan<'a> {
    Plan {
        id,
        name,
        regime: Regime::Conventional,
        station: "S-NORTH",
        egg_traps: 4,
        moth_traps: 2,
        moths: TrapKind::Pheromone,
        eggs_from,
        read: READ_BEFORE,
        serviced: date(2022, 5, 18),
    }
}

const APRIL_13: Option<NaiveDate> = Some(date(2022, 4, 13));
const APRIL_20: Option<NaiveDate> = Some(date(2022, 4, 20));

fn plans() -> Vec<Plan<'static>> {
    let disrupted = |plan| Plan {
        regime: Regime::MatingDisruption,
        moths: TrapKind::PheromonePpo,
        ..plan
    };
    let unread = |plan| Plan {
        read: date(2022, 6, 11),
        egg_traps: 12,
        moth_traps: 24,
        ..plan
    };
    let far = |plan| Plan {
        station: "S-BENCH",
        ..plan
    };
    vec![
        plan("N-12", "North 12", APRIL_13),
        unread(plan("N-14", "North 14", APRIL_13)),
        disrupted(plan("N-20", "North 20, along the canal", APRIL_20)),
        plan("E-3", "East 3", Some(date(2022, 6, 18))),
        disrupted(unread(plan("E-4", "East 4", APRIL_20))),
        far(plan("BEN-1", "Bench 1", APRIL_13)),
        far(plan("BEN-2", "Bench 2", APRIL_20)),
        Plan {
            egg_traps: 0,
            ..plan("W-1", "West 1", None)
        },
        plan("W-2", "West 2", APRIL_20),
        plan("W-3", "West 3", None),
        Plan {
            egg_traps: 0,
            moths: TrapKind::BaitBag,
            ..plan("H-1", "House block", None)
        },
        plan("H-2", "Old Peñón", APRIL_13),
    ]
}

/// The sample morning: seasons, notices and stations.
pub(super) struct Sample {
    orchard: Orchard,
    seasons: Vec<BlockSeason>,
    notices: Vec<Notice>,
    stations: Vec<StationView>,
}

impl Sample {
    /// All twelve blocks.
    pub(super) fn full() -> Self {
        Self::of(&plans())
    }

    /// Blocks that were all read the day before, all with news, with parts of two ages past their
    /// service life; neighbours in the list differ in their start and number of traps.
    pub(super) fn busy(blocks: usize) -> Self {
        let numbered = |n| {
            (
                format!("N-{n}"),
                format!("North {n}, the one by the old pump"),
            )
        };
        let named: Vec<(String, String)> = (1..=blocks).map(numbered).collect();
        let plans = named.iter().zip(0..).map(|((id, name), n)| Plan {
            egg_traps: 6 + n % 7,
            moth_traps: 20 + n % 5,
            read: date(2022, 6, 19),
            ..plan(
                id,
                name,
                APRIL_13.map(|first| first + Days::new(n as u64 % 14)),
            )
        });
        let plans: Vec<Plan<'_>> = plans.collect();
        Self::of(&plans)
    }

    /// One block on a morning on which nothing is due, near or new.
    pub(super) fn quiet() -> Self {
        let read = READ_BEFORE;
        let plan = Plan {
            serviced: read,
            ..plan("W-3", "West 3", None)
        };
        let mut sample = Self::of(&[plan]);
        sample.notices.clear();
        sample.stations.clear();
        sample
    }

    fn of(plans: &[Plan<'_>]) -> Self {
        let orchard = orchard(plans);
        let visits = Visits::new(plans.iter().flat_map(visits).collect());
        let insect = insect();
        let weathers = [
            station_weather("S-NORTH", date(2022, 6, 17)),
            station_weather("S-BENCH", date(2022, 6, 9)),
        ];
        let heats: BTreeMap<StationId, StationHeat> = weathers
            .iter()
            .map(|weather| {
                (
                    weather.station().clone(),
                    StationHeat::new(weather, insect.heat),
                )
            })
            .collect();
        let notes = Notes::new(notes());
        let heat_of = |station: &StationId| heats.get(station);
        let records = (&visits, &notes, &KeptStarts::new());
        let starts = GroupStarts::read(&orchard, &insect, heat_of, records, MORNING);
        let seasons: Vec<BlockSeason> = orchard
            .blocks()
            .iter()
            .map(|block| {
                let heat = &heats[&block.station];
                assess(&orchard, block, &insect, heat, &starts, &visits, &notes)
            })
            .collect();
        Self {
            orchard,
            notices: ledger(&seasons, Role::Adviser).notices(),
            stations: weathers.iter().map(station).collect(),
            seasons,
        }
    }

    pub(super) fn digest(&self, trouble: &[&str]) -> Digest {
        let seasons: Vec<&BlockSeason> = self.seasons.iter().collect();
        let grower = PersonId::new("grower").unwrap();
        let of = MadeOf {
            words: Words::default(),
            language: Language::English,
            day: MORNING,
            orchard: &self.orchard,
            stations: &self.stations,
            names: &[(grower, "Tom Avery".to_owned())].into(),
        };
        let trouble = trouble.iter().map(|&line| line.to_owned()).collect();
        digest(&of, &seasons, &self.notices, trouble, cause)
    }

    /// What the grower of one block hears.
    pub(super) fn alert(&self, block: &str) -> Alert {
        self.alert_of(|notice| notice.block.as_str() == block)
    }

    /// What a grower of all the blocks hears.
    pub(super) fn alert_of_all(&self) -> Alert {
        self.alert_of(|_| true)
    }

    fn alert_of(&self, hears: impl Fn(&Notice) -> bool) -> Alert {
        let seasons: Vec<&BlockSeason> = self.seasons.iter().collect();
        let ledger = ledger(&self.seasons, Role::Grower);
        let notices: Vec<Notice> = ledger
            .notices()
            .into_iter()
            .filter(|notice| hears(notice))
            .collect();
        let (words, grower) = (Words::default(), PersonId::new("grower").unwrap());
        let calendar = key_dates(words, &grower, &seasons, &notices, &ledger.told);
        let seen = (&seasons[..], &self.stations[..]);
        alert(words, MORNING, seen, &notices, calendar, cause).unwrap()
    }
}

/// Why a change came about, as the sample night knows it.
fn cause(notice: &Notice) -> Option<String> {
    (notice.revision > 1).then(|| "temperatures of Jun 9–14 were revised".into())
}

/// With the published rule, and a first brood so long that a start may still be provisional in June.
fn insect() -> Insect {
    let text = include_str!("../../../../config/insects/navel-orangeworm.toml");
    let text = text
        .replacen("rule = \"estimate\"", "rule = \"share-rising\"", 1)
        .replacen("first_brood_until = 1000", "first_brood_until = 1500", 1);
    toml::from_str::<InsectFile>(&text)
        .unwrap()
        .check()
        .unwrap()
}

/// Ten years of a yearly wave, some years warmer than others, up to the newest day.
fn received(newest: NaiveDate) -> Vec<ReceivedDay> {
    let days = date(2012, 1, 1).iter_days();
    days.take_while(|day| *day <= newest).map(weather).collect()
}

fn weather(date: NaiveDate) -> ReceivedDay {
    let season = (f64::from(date.ordinal0()) - 105.0) / 365.0 * std::f64::consts::TAU;
    let year = f64::from(date.year() % 5) - 2.0;
    let days = f64::from(date.num_days_from_ce());
    let unrest = 5.0 * (days * 0.7).sin() + 3.0 * (days * 0.23).cos();
    let mean = (62.0 + 19.0 * season.sin() + 1.5 * year + unrest).round();
    let max = if date == NaiveDate::from_ymd_opt(2022, 6, 14).expect("a day") {
        999.0
    } else {
        mean + 15.0
    };
    ReceivedDay {
        date,
        min: Some(mean - 15.0),
        max: Some(max),
        unit: Unit::Fahrenheit,
        min_flag: None,
        max_flag: None,
    }
}

fn orchard(plans: &[Plan<'_>]) -> Orchard {
    let product = |part: Part, life_days| Product {
        id: ProductId::new(part.name()).unwrap(),
        part,
        life_days,
        source: "label of the sample product".into(),
        area_cm2: None,
    };
    let products = vec![
        product(Part::Lure, 35),
        product(Part::Ppo, 42),
        product(Part::Bait, 28),
        product(Part::Liner, 21),
    ];
    let blocks = plans.iter().map(block).collect();
    Orchard::new(blocks, plans.iter().flat_map(traps).collect(), products)
}

fn block(plan: &Plan<'_>) -> Block {
    let id = BlockId::new(plan.id).unwrap();
    let lender = match plan.id {
        "H-1" => GroupId::new("H-2").unwrap(),
        _ => own_group(&id),
    };
    Block {
        id,
        name: plan.name.into(),
        grower: PersonId::new("grower").unwrap(),
        adviser: PersonId::new("adviser").unwrap(),
        advised_beside: Vec::new(),
        scouts: Vec::new(),
        crop: Crop::Almond,
        acres: None,
        regime: plan.regime,
        dispensers: Dispensers::default(),
        near: BTreeSet::new(),
        station: StationId::new(plan.station).unwrap(),
        varieties: vec!["Nonpareil".into(), "Monterey".into()],
        start_group: lender,
        start_rule: None,
    }
}

fn traps(plan: &Plan<'_>) -> Vec<Trap> {
    let group = own_group(&BlockId::new(plan.id).unwrap());
    let trap = |kind: TrapKind, letter: &str, number: usize| Trap {
        group: group.clone(),
        products: kind
            .parts()
            .iter()
            .map(|part| (*part, ProductId::new(part.name()).unwrap()))
            .collect(),
        ..Trap::new(
            TrapId::new(&format!("{}-{letter}{number}", plan.id)).unwrap(),
            BlockId::new(plan.id).unwrap(),
            kind,
            date(2022, 3, 21),
        )
    };
    let eggs = (1..=plan.egg_traps).map(|n| trap(TrapKind::Egg, "E", n));
    let moths = (1..=plan.moth_traps).map(|n| trap(plan.moths, "M", n));
    eggs.chain(moths).collect()
}

/// Readings twice a week; parts of the traps from the twentieth on were replaced a week later.
fn visits(plan: &Plan<'_>) -> Vec<Visit> {
    let serviced_on = |place: usize| match place {
        0..20 => plan.serviced,
        _ => plan.serviced + Days::new(7),
    };
    let mut visits = Vec::new();
    for (place, trap) in traps(plan).into_iter().enumerate() {
        let last = plan.read;
        for day in reading_days(last) {
            let parts: &[Part] = if day == serviced_on(place) {
                trap.kind.parts()
            } else {
                &[]
            };
            visits.push(visit(plan, &trap, day, parts));
        }
    }
    visits
}

/// From 23 March on, three and four days apart, and the last one.
fn reading_days(last: NaiveDate) -> impl Iterator<Item = NaiveDate> {
    let weeks = (0..13).map(|week| date(2022, 3, 23) + Days::new(7 * week));
    weeks
        .flat_map(|day| [day, day + Days::new(3)])
        .filter(move |day| *day < last)
        .chain([last])
}

fn visit(plan: &Plan<'_>, trap: &Trap, day: NaiveDate, parts: &[Part]) -> Visit {
    let eggs = plan
        .eggs_from
        .filter(|from| day >= *from)
        .map_or(0, |from| 3 + (day - from).num_days().min(9) as u32);
    let moths = (day.ordinal() % 5) * u32::from(plan.regime == Regime::Conventional);
    let of = |kind: bool, count: u32| kind.then_some(count);
    Visit {
        eggs: of(trap.kind == TrapKind::Egg, eggs),
        males: of(trap.kind == TrapKind::Pheromone, moths),
        moths: of(trap.kind == TrapKind::PheromonePpo, moths),
        females: of(trap.kind == TrapKind::BaitBag, moths / 2),
        serviced: parts.iter().copied().collect::<BTreeSet<Part>>(),
        ..Visit::new(trap.id.clone(), day)
    }
}

fn notes() -> Vec<Note> {
    let note = |block: &str, variety: Option<&str>, kind, text: &str| Note {
        block: BlockId::new(block).unwrap(),
        variety: variety.map(str::to_owned),
        date: date(2022, 6, 10),
        kind,
        text: text.to_owned(),
        by: "adviser".into(),
        entered_at: date(2022, 6, 10).and_time(NaiveTime::MIN).and_utc(),
    };
    let split = NoteKind::HullSplitExpected(date(2022, 7, 4));
    let start = NoteKind::EggLayingStart(date(2022, 4, 18).into());
    vec![
        note("N-12", Some("Nonpareil"), split, ""),
        note("W-1", None, start, "eggs seen on sticktights"),
    ]
}

/// What holds on the sample morning, and what people were told before.
struct Ledger {
    now: Vec<Fact>,
    told: Vec<Told>,
}

impl Ledger {
    fn notices(&self) -> Vec<Notice> {
        let moment = Moment {
            today: MORNING,
            told_before: MORNING.pred_opt(),
            past: Past::Listed,
        };
        decide(&self.now, &self.told, moment)
    }
}

/// What people were told before: two projections that have moved since, a start that was taken back
/// with the projection that rested on it, and everything of the quiet blocks.
fn ledger(seasons: &[BlockSeason], role: Role) -> Ledger {
    let now: Vec<Fact> = seasons
        .iter()
        .flat_map(facts)
        .map(|fact| {
            let hears = match role == Role::Adviser || fact.to_growers {
                true => Hears::EachTime,
                false => Hears::Nothing,
            };
            fact.heard(hears, role == Role::Grower)
        })
        .collect();
    let second = |block: &str, early: u32, middle: u32, late: u32| {
        let day = |day| date(2022, 6, day);
        let mark = Event::MarkNear(MarkId::new("second-generation").unwrap());
        let value = Value::Range {
            early: day(early),
            middle: day(middle),
            late: day(late),
        };
        told(block, &mark, value)
    };
    let mut before = vec![
        second("N-12", 12, 14, 16),
        second("N-20", 24, 27, 30),
        second("W-3", 20, 25, 30),
        told("W-3", &Event::Start, Value::Day(date(2022, 6, 4))),
    ];
    let quiet = ["W-1", "W-2", "H-1", "BEN-2", "E-4"];
    before.extend(now.iter().filter_map(|fact| {
        let hatch = fact.event.to_string() == "mark-passed:first-hatch";
        let start = fact.event == Event::Start && fact.block.as_str() != "E-3";
        let known = hatch || start || quiet.contains(&fact.block.as_str());
        match &fact.state {
            State::Now { value, step } if known => Some(Told {
                step: *step,
                ..told(fact.block.as_str(), &fact.event, *value)
            }),
            _ => None,
        }
    }));
    Ledger { now, told: before }
}

fn told(block: &str, event: &Event, value: Value) -> Told {
    Told {
        year: 2022,
        block: BlockId::new(block).unwrap(),
        insect: InsectId::new("navel-orangeworm").unwrap(),
        event: event.to_string(),
        revision: 1,
        value: Some(value),
        on: date(2022, 6, 12),
        step: 1,
        history: false,
        of_variety: false,
        corrected_on: None,
        taken_back: None,
    }
}

fn station_weather(id: &str, newest: NaiveDate) -> StationWeather {
    StationWeather::alone(StationId::new(id).unwrap(), &received(newest), MORNING)
}

fn station(weather: &StationWeather) -> StationView {
    StationView {
        station: weather.station().clone(),
        name: format!("station {}", weather.station()),
        unit: Unit::Fahrenheit,
        newest: weather.newest_read(),
        estimated: weather.estimated(),
        stood_in: Vec::new(),
        forecast: None,
        borrowed: weather.borrowed().cloned(),
        drifts: weather.drifts().to_vec(),
        suspects: weather.suspects().to_vec(),
    }
}
