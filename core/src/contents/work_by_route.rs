//! The trap work of a day by route and gate, in counts; traps are named only where some of a kind are meant.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::{PersonId, TrapId};
use crate::orchard::{Orchard, Part, Trap, TrapKind};
use crate::season::BlockSeason;
use crate::wording::gather::{Lines, trap_list};
use crate::wording::words::Words;
use crate::wording::work::{closed_line, plural, service_full, waits_in};

use super::walking::{Key, Step, route_key, walking_key};

/// From so many lines on, work is counted by route and grower.
const MOST_LINES: usize = 40;
/// So many traps are named at the most.
const MOST_NAMED: usize = 4;

/// The work on one route.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RouteWork {
    /// The route, and how much there is to do.
    pub title: String,
    /// Each gate and block, or each grower, with what is to be done there.
    pub lines: Vec<Lines>,
}

/// Something to do at one trap.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Task {
    Hang(TrapKind),
    Read(TrapKind),
    Change(Part),
}

/// The tasks of one block on one route.
struct Stop<'a> {
    season: &'a BlockSeason,
    route: Option<&'a str>,
    gate: &'a str,
    key: Key<'a>,
    tasks: Vec<(Task, &'a Trap, NaiveDate)>,
}

/// The work of the open blocks by route, those without one last; of closed ones what waits. `name` gives people's
/// names.
pub(crate) fn work_by_route(
    words: Words,
    orchard: &Orchard,
    seasons: &[&BlockSeason],
    name: &dyn Fn(&PersonId) -> String,
) -> Vec<RouteWork> {
    let mut routes: BTreeMap<(Step<'_>, Option<&str>), Vec<Stop<'_>>> = BTreeMap::new();
    for (place, season) in seasons.iter().enumerate() {
        for stop in stops(orchard, season, place) {
            let route = routes
                .entry((route_key(stop.route), stop.route))
                .or_default();
            route.push(stop);
        }
    }
    let count = routes.values().map(Vec::len).sum::<usize>();
    let by_grower = count > MOST_LINES;
    let work = routes.into_iter().map(|((_, route), mut stops)| {
        stops.sort_by_key(|stop| stop.key);
        let lines = match by_grower {
            true => of_growers(&stops, name),
            false => stops.iter().map(|stop| at(words, orchard, stop)).collect(),
        };
        RouteWork {
            title: title(route, &stops),
            lines,
        }
    });
    work.chain(closed(words, seasons)).collect()
}

/// How many blocks have work today, in open blocks.
pub(crate) fn blocks_with_work(seasons: &[&BlockSeason]) -> usize {
    let due = seasons
        .iter()
        .filter(|season| season.work.is_due_on(season.as_of));
    due.count()
}

fn stops<'a>(orchard: &'a Orchard, season: &'a BlockSeason, place: usize) -> Vec<Stop<'a>> {
    if season.work.closed_until.is_some() {
        return Vec::new();
    }
    let mut stops: BTreeMap<(Option<&str>, &str), Stop<'_>> = BTreeMap::new();
    for (task, trap, due) in tasks(season) {
        let Some(trap) = orchard
            .traps_of(&season.block.id)
            .find(|other| other.id == *trap)
        else {
            continue;
        };
        let route = Some(trap.place.route.as_str()).filter(|route| !route.is_empty());
        let gate = trap.place.gate.as_str();
        let stop = stops.entry((route, gate)).or_insert_with(|| Stop {
            season,
            route,
            gate,
            key: walking_key(trap, place),
            tasks: Vec::new(),
        });
        stop.tasks.push((task, trap, due));
    }
    stops.into_values().collect()
}

/// What is due today in a block, trap by trap.
fn tasks(season: &BlockSeason) -> impl Iterator<Item = (Task, &TrapId, NaiveDate)> {
    let (work, day) = (&season.work, season.as_of);
    let hang = work
        .hangings
        .iter()
        .filter(move |hanging| hanging.on == day);
    let hang = hang.map(|hanging| (Task::Hang(hanging.kind), &hanging.trap, hanging.on));
    let read = work.readings.iter();
    let read = read.filter(move |reading| !reading.optional && reading.due <= day);
    let read = read.map(|reading| (Task::Read(reading.kind), &reading.trap, reading.due));
    let change = work
        .service
        .iter()
        .filter(move |service| service.due <= day);
    let change = change.map(|service| (Task::Change(service.part), &service.trap, service.due));
    hang.chain(read).chain(change)
}

fn title(route: Option<&str>, stops: &[Stop<'_>]) -> String {
    let tasks = || stops.iter().flat_map(|stop| &stop.tasks);
    let counted = |is: fn(&Task) -> bool, what: &str| {
        let count = tasks().filter(|(task, ..)| is(task)).count();
        (count > 0).then(|| plural(count, what))
    };
    let blocks = plural(stops.len(), "block");
    let counts = [
        Some(blocks),
        counted(|task| matches!(task, Task::Hang(_)), "hanging"),
        counted(|task| matches!(task, Task::Read(_)), "reading"),
        counted(|task| matches!(task, Task::Change(_)), "change"),
    ];
    let counts: Vec<String> = counts.into_iter().flatten().collect();
    let route = route.map_or_else(
        || "Without a route".to_owned(),
        |route| format!("Route {route}"),
    );
    format!("{route}: {}", counts.join(", "))
}

/// The work behind one gate of one block.
fn at(words: Words, orchard: &Orchard, stop: &Stop<'_>) -> Lines {
    let block = &stop.season.block;
    let gate = stop.gate;
    let title = match gate.is_empty() || gate == block.id.as_str() || gate == block.name {
        true => block.name.clone(),
        false => format!("gate {gate}, {}", block.name),
    };
    let since = stop
        .tasks
        .iter()
        .filter(|(task, ..)| matches!(task, Task::Read(_)));
    let since = since.map(|(.., due)| *due).min();
    let since = since.filter(|due| *due < stop.season.as_of);
    let phrases = phrases(&stop.tasks, |task| total(orchard, stop, task));
    let mut line = phrases.join("; ");
    if let Some(since) = since {
        line.push_str(&format!("; readings due since {}", words.day(since)));
    }
    let full = service_full(stop.season);
    Lines {
        title,
        lines: std::iter::once(line).chain(full).collect(),
    }
}

/// How many traps a task could be about in the block.
fn total(orchard: &Orchard, stop: &Stop<'_>, task: Task) -> usize {
    let season = stop.season;
    let traps = orchard.traps_of(&season.block.id);
    let in_use = traps.filter(|trap| trap.in_use_on(season.as_of));
    let meant = |trap: &&Trap| match task {
        Task::Hang(_) => false,
        Task::Read(kind) => trap.kind == kind,
        Task::Change(part) => trap.products.contains_key(&part),
    };
    in_use.filter(meant).count()
}

/// `read 5 egg, 2 of 3 pheromone (N1-P2, N1-P3); change 3 lures`.
fn phrases(tasks: &[(Task, &Trap, NaiveDate)], total: impl Fn(Task) -> usize) -> Vec<String> {
    let mut by_task: BTreeMap<Task, Vec<&TrapId>> = BTreeMap::new();
    for (task, trap, _) in tasks {
        by_task.entry(*task).or_default().push(&trap.id);
    }
    let mut verbs: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for (task, traps) in by_task {
        let (verb, counted) = counted(task, traps.len());
        let named = match traps.len() < total(task) && traps.len() <= MOST_NAMED {
            true => format!(" ({})", trap_list(&traps)),
            false => String::new(),
        };
        verbs
            .entry(verb)
            .or_default()
            .push(format!("{counted}{named}"));
    }
    let order = ["hang", "read", "change"];
    let phrase = |verb: &str| Some(format!("{verb} {}", verbs.get(verb)?.join(", ")));
    order.into_iter().filter_map(phrase).collect()
}

fn counted(task: Task, count: usize) -> (&'static str, String) {
    match task {
        Task::Hang(kind) => ("hang", format!("{count} {}", kind.name())),
        Task::Read(kind) => ("read", format!("{count} {}", kind.name())),
        Task::Change(part) => ("change", part.counted(count)),
    }
}

/// The same by grower, where there are too many gates to name.
fn of_growers(stops: &[Stop<'_>], name: &dyn Fn(&PersonId) -> String) -> Vec<Lines> {
    let mut growers: BTreeMap<&PersonId, Vec<&Stop<'_>>> = BTreeMap::new();
    for stop in stops {
        growers
            .entry(&stop.season.block.grower)
            .or_default()
            .push(stop);
    }
    let line = |(grower, stops): (&PersonId, Vec<&Stop<'_>>)| {
        let tasks: Vec<_> = stops
            .iter()
            .flat_map(|stop| stop.tasks.iter().copied())
            .collect();
        Lines {
            title: format!("{}, {}", name(grower), plural(stops.len(), "block")),
            lines: vec![phrases(&tasks, |_| 0).join("; ")],
        }
    };
    growers.into_iter().map(line).collect()
}

/// Blocks that nobody may enter, and what waits there.
fn closed(words: Words, seasons: &[&BlockSeason]) -> Option<RouteWork> {
    let lines = seasons.iter().filter_map(|season| {
        let until = season.work.closed_until.filter(|_| waits_in(season) > 0)?;
        Some(Lines {
            title: season.block.name.clone(),
            lines: vec![closed_line(words, season, until)],
        })
    });
    let lines: Vec<Lines> = lines.collect();
    (!lines.is_empty()).then(|| RouteWork {
        title: "Closed".to_owned(),
        lines,
    })
}
