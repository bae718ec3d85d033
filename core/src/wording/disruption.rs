//! The check of mating disruption in sentences: counts, never a verdict.

use crate::orchard::{Block, Dispensers, Near, Regime, TrapKind};
use crate::season::BlockSeason;
use crate::trapping::{Catch, Counted, Disruption, Doubt, Haul, Reference, Window};

use super::words::{Words, rate_words};

/// So much a quotient may lie below its whole number, in percent.
const ROUNDING: f64 = 1e-9;
/// What no catch can show.
const DOES_NOT_SHOW: &str = "this does not show that females are unmated or nuts safe";

impl Words {
    /// What the traps of a disrupted block show; empty for a conventional one.
    #[must_use]
    pub fn disruption_lines(self, season: &BlockSeason) -> Vec<String> {
        let Some(checked) = &season.beside.disruption else {
            return Vec::new();
        };
        let mut lines = vec![self.dispensers(checked.dispensers)];
        let windows = [
            ("last 7 days", &checked.week),
            ("season so far", &checked.season),
        ];
        for (title, window) in windows {
            lines.push(format!("{title}: {}", self.window(window)));
            let beside = window.references.iter();
            lines.extend(beside.map(|reference| self.reference(title, window, reference)));
        }
        lines.extend(self.sentinel_catches(checked));
        lines
    }

    /// What the traps of a disrupted block showed in its season, without other blocks beside it, which may be other
    /// growers'; empty for a conventional one.
    pub(crate) fn disruption_of_year(self, season: &BlockSeason) -> Vec<String> {
        let Some(checked) = &season.beside.disruption else {
            return Vec::new();
        };
        let window = &checked.season;
        let sentinel = window.sentinel.iter();
        let sentinel = sentinel.map(|haul| format!("sentinel {}, {}", counts(haul), life(haul)));
        let caught: Vec<String> = sentinel.chain(window.others.iter().map(other)).collect();
        let mut lines = vec![self.dispensers(checked.dispensers)];
        if !caught.is_empty() {
            lines.push(format!("{}; {DOES_NOT_SHOW}", caught.join("; ")));
        }
        lines.extend(self.sentinel_catches(checked));
        lines
    }

    fn dispensers(self, dispensers: Dispensers) -> String {
        let on = match dispensers.on {
            Some(day) => self.day(day),
            None => "not entered".to_owned(),
        };
        let until = match dispensers.until {
            Some(day) => self.day(day),
            None => "not entered".to_owned(),
        };
        format!("dispensers on: {on}; last day: {until}")
    }

    /// Sentinels, the traps beside them, and what that says or why it says nothing.
    fn window(self, window: &Window) -> String {
        let sentinel = window.sentinel.iter();
        let sentinel = sentinel.map(|haul| format!("sentinel {}, {}", counts(haul), life(haul)));
        let others = window.others.iter().map(other);
        let doubts: Vec<String> = window
            .doubts
            .iter()
            .map(|doubt| self.doubt(*doubt))
            .collect();
        let so = match &doubts[..] {
            [] => DOES_NOT_SHOW.to_owned(),
            reasons => format!("can't tell: {}", Self::listed(reasons)),
        };
        let parts: Vec<String> = sentinel.chain(others).chain([so]).collect();
        parts.join("; ")
    }

    fn doubt(self, doubt: Doubt) -> String {
        match doubt {
            Doubt::NoSentinel => {
                "no sentinel hangs; one would show whether males still find a lure here".to_owned()
            }
            Doubt::NotRead => "no sentinel was read over nights of disruption alone".to_owned(),
            Doubt::DispensersNotEntered => {
                "the day the dispensers went on is not entered".to_owned()
            }
            Doubt::DispensersNotOn(day) => format!("the dispensers go on {}", self.day(day)),
            Doubt::DispensersRunOut(day) => format!("the dispensers ran out {}", self.day(day)),
            Doubt::LurePastLife => {
                "the sentinel's lure was past its life, so its zero is no information".to_owned()
            }
            Doubt::LureNotDeclared => {
                "the sentinel's lure is not declared, so its zero is no information".to_owned()
            }
            Doubt::BothEmpty => "the other traps are empty as well".to_owned(),
            Doubt::NoOtherTrap => "no trap that works under disruption was read".to_owned(),
        }
    }

    fn reference(self, title: &str, window: &Window, reference: &Reference) -> String {
        let station = if reference.same_station {
            "same station"
        } else {
            "another station"
        };
        let haul = &reference.haul;
        let mut line = format!(
            "{title}, beside it {} (conventional, {station}): {} in {} trap-nights, {} per trap per night",
            reference.name,
            caught(haul),
            haul.trap_nights,
            rate_words(haul.per_trap_night())
        );
        if haul.nights_in_life() != Some(haul.trap_nights) {
            line.push_str(&format!(", {}", life(haul)));
        }
        let sentinel = window.sentinel.as_ref();
        let share = sentinel.and_then(|own| Some((own, reference.shutdown_percent(own)?)));
        if let Some((own, percent)) = share {
            // Rounded down, so that only an empty sentinel has all of them fewer.
            line.push_str(&format!(
                "; the sentinel {:.0} % fewer, {} per trap per night",
                (percent + ROUNDING).floor(),
                rate_words(own.per_trap_night())
            ));
        }
        if reference.near_disruption {
            line.push_str("; disruption is near it");
        }
        line
    }

    fn sentinel_catches(self, checked: &Disruption) -> Option<String> {
        let caught: Vec<String> = checked
            .catches
            .iter()
            .map(|caught| {
                format!(
                    "{} {} on {}",
                    caught.trap,
                    caught.count,
                    self.day(caught.date)
                )
            })
            .collect();
        (!caught.is_empty())
            .then(|| format!("sentinel catches told at once: {}", caught.join(", ")))
    }

    /// Catches of one kind in a block: where no males were caught in a conventional block with disruption
    /// near, that it is near. Why there are none is not said, since a count does not show it.
    #[must_use]
    pub fn catch_in(self, season: &BlockSeason, catch: &Catch) -> String {
        let words = self.catch(catch);
        let none = catch.counted == Counted::Males && catch.count == 0 && catch.traps_read > 0;
        match none && has_disruption_near(&season.block) {
            true => format!("{words}, disruption is near"),
            false => words,
        }
    }
}

fn has_disruption_near(block: &Block) -> bool {
    block.regime == Regime::Conventional && block.near.contains(&Near::Disruption)
}

fn caught(haul: &Haul) -> String {
    let what = haul.counted.words(haul.count);
    format!("{} {what}", haul.count)
}

/// What a trap caught that works under disruption.
fn other(haul: &Haul) -> String {
    let name = match haul.kind {
        TrapKind::PheromonePpo => "combined trap",
        other => other.name(),
    };
    format!("{name} {}", caught(haul))
}

fn counts(haul: &Haul) -> String {
    format!("{} in {} trap-nights", haul.count, haul.trap_nights)
}

fn life(haul: &Haul) -> String {
    match haul.nights_in_life() {
        None => "life of its lure not declared".to_owned(),
        Some(0) => "lure past its life".to_owned(),
        Some(nights) if nights == haul.trap_nights => "lure in life".to_owned(),
        Some(nights) => format!("lure in life in {nights} of them"),
    }
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;
    use crate::ledger::{Change, Event, Moment, Past, Told, decide, facts};
    use crate::orchard::{Orchard, Trap};
    use crate::sample;
    use crate::trapping::Visit;

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    fn read(trap: &str, day: u32, moths: u32) -> Visit {
        Visit {
            moths: Some(moths),
            ..sample::visit(trap, date(5, day))
        }
    }

    /// The block `B`, disrupted from 1 April to 30 September, with a sentinel `P` and a combined trap
    /// `C`; beside it the conventional block `K` with a pheromone trap `R` and near other disruption.
    fn farm() -> Orchard {
        let disrupted = Block {
            regime: Regime::MatingDisruption,
            dispensers: Dispensers {
                on: Some(date(4, 1)),
                until: Some(date(9, 30)),
            },
            ..sample::block()
        };
        let beside = Block {
            id: crate::id::BlockId::new("K").unwrap(),
            name: "Knoll".into(),
            near: [Near::Disruption].into(),
            ..sample::block()
        };
        let trap = |id, block, kind| sample::served_trap(id, block, kind, date(5, 1));
        let traps: Vec<Trap> = vec![
            trap("P", "B", TrapKind::Pheromone),
            trap("C", "B", TrapKind::PheromonePpo),
            trap("R", "K", TrapKind::Pheromone),
        ];
        Orchard::new(vec![disrupted, beside], traps, sample::products(42))
    }

    fn season(visits: &[Visit], day: u32) -> BlockSeason {
        sample::season(&farm(), visits.to_vec(), &[], date(5, day))
    }

    #[test]
    fn an_empty_sentinel_is_told_in_counts_beside_the_others() {
        let visits = [
            read("P", 8, 0),
            read("P", 15, 0),
            read("C", 8, 4),
            read("C", 15, 5),
            read("R", 15, 70),
        ];
        let lines = Words::default().disruption_lines(&season(&visits, 16));
        // By hand: nights 1 to 8 and 8 to 15 May, 1 to 15 May of R: 70 in 14 is 5 a night.
        let beside = "beside it Knoll (conventional, same station): 70 males in 14 trap-nights, 5.0 per trap per night; the sentinel 100 % fewer, 0.0 per trap per night; disruption is \
                      near it";
        let expected = [
            "dispensers on: Apr 1; last day: Sep 30".to_owned(),
            format!(
                "last 7 days: sentinel 0 in 7 trap-nights, lure in life; combined trap 5 \
                 moths, both sexes; {DOES_NOT_SHOW}"
            ),
            format!("last 7 days, {beside}"),
            format!(
                "season so far: sentinel 0 in 14 trap-nights, lure in life; combined trap \
                 9 moths, both sexes; {DOES_NOT_SHOW}"
            ),
            format!("season so far, {beside}"),
        ];
        assert_eq!(lines, expected);
    }

    #[test]
    fn what_says_nothing_is_said_to_say_nothing() {
        let line = |visits: &[Visit]| {
            let lines = Words::default().disruption_lines(&season(visits, 16));
            lines[1].clone()
        };
        assert_eq!(
            line(&[read("P", 15, 0), read("C", 15, 0)]),
            "last 7 days: sentinel 0 in 14 trap-nights, lure in life; combined trap 0 moths, both \
             sexes; can't tell: the other traps are empty as well"
        );
        assert_eq!(
            line(&[read("C", 15, 5)]),
            "last 7 days: combined trap 5 moths, both sexes; can't tell: no sentinel was read over \
             nights of disruption alone"
        );
    }

    #[test]
    fn a_zero_of_males_stays_a_count_beside_the_word_that_disruption_is_near() {
        let visits = [read("P", 15, 0), read("C", 15, 2), read("R", 15, 0)];
        let season = season(&visits, 16);
        let words = Words::default();
        let shown = words.catch_in(&season, &season.latest[0]);
        let expected = "0 males (1 of 1 traps read, 0.0 per trap per night)";
        assert_eq!(shown, expected);
        let mut conventional = season.clone();
        conventional.block.regime = Regime::Conventional;
        conventional.block.near = [Near::Disruption].into();
        conventional.beside.disruption = None;
        let shown = words.catch_in(&conventional, &season.latest[0]);
        assert_eq!(shown, format!("{expected}, disruption is near"));
        conventional.block.near.clear();
        let shown = words.catch_in(&conventional, &season.latest[0]);
        assert!(shown.ends_with("per trap per night)"), "{shown}");
    }

    fn on(today: NaiveDate, past: Past) -> Moment {
        Moment {
            today,
            told_before: None,
            past,
        }
    }

    /// What the adviser hears of sentinels, given what was told before, and the ledger after it.
    fn told(season: &BlockSeason, before: &[Told]) -> (Vec<String>, Vec<Told>) {
        let notices = decide(&facts(season), before, on(season.as_of, Past::Listed));
        let about = notices
            .iter()
            .filter(|notice| matches!(notice.event, Event::SentinelCatch(..)));
        let entry = |notice: &crate::ledger::Notice| notice.entered(season.as_of, None);
        let words = Words::default();
        let sentences = about
            .clone()
            .map(|notice| words.told(&[notice], season).whole());
        (sentences.collect(), about.map(entry).collect())
    }

    #[test]
    fn a_sentinels_catch_is_told_once_and_corrected_when_its_reading_changes() {
        let caught = |moths| season(&[read("P", 8, 1), read("P", 15, moths)], 15);
        let (first, ledger) = told(&caught(3), &[]);
        let sentence = "catch of sentinel P: 3 moths, read May 15, and some in the reading before; \
                        under mating disruption it should catch none";
        assert_eq!(first, [sentence]);
        assert_eq!(told(&caught(3), &ledger).0, [""; 0]);
        let corrected = format!(
            "{}; instead of 3 moths, read May 15, told on May 15",
            sentence.replace("3 moths", "corrected: 2 moths")
        );
        assert_eq!(told(&caught(2), &ledger).0, [corrected]);
        let withdrawn = "catch of sentinel P: withdrawn; told on May 15 as 3 moths, read May 15; now: \
                         what has been entered or declared since shows it no more";
        assert_eq!(told(&caught(0), &ledger).0, [withdrawn]);
    }

    #[test]
    fn growers_hear_nothing_of_sentinels() {
        let season = season(&[read("P", 15, 9)], 15);
        let facts = facts(&season);
        let mut about = facts.iter();
        let caught = about
            .find(|fact| matches!(fact.event, Event::SentinelCatch(..)))
            .unwrap();
        assert!(!caught.to_growers);
        // On the first night of a store an old reading is history.
        let notices = decide(&facts, &[], on(date(5, 20), Past::Begins));
        let of_event = notices
            .iter()
            .find(|notice| notice.event == caught.event)
            .unwrap();
        assert!(matches!(of_event.change, Change::History(_)));
    }
}
