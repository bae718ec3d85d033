//! Catches per trap and night: the only way counts of unequal intervals can be compared.

use chrono::NaiveDate;

use crate::orchard::{Trap, TrapKind};

use super::span::spans;
use super::{Visit, Visits};

/// What was counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Counted {
    /// Eggs on egg traps.
    Eggs,
    /// Males on pheromone traps.
    Males,
    /// Moths of both sexes, unsexed.
    Moths,
    /// Females of bait bags whose catch was sexed; they are never inferred from an unsexed one.
    Females,
}

/// The catch of all traps of one kind in a stretch of days.
#[derive(Debug, Clone, PartialEq)]
pub struct Catch {
    /// The kind of trap.
    pub kind: TrapKind,
    /// What was counted.
    pub counted: Counted,
    /// The sum of the counts.
    pub count: u32,
    /// Traps with at least one readable count.
    pub traps_read: usize,
    /// Traps that hung on the last day.
    pub traps_hung: usize,
    /// Of these, traps with a count above zero.
    pub traps_with_some: usize,
    /// Nights behind the counts, over all traps.
    pub trap_nights: u32,
}

impl Catch {
    /// Catch per trap and night; `None` without a night.
    #[must_use]
    pub fn per_trap_night(&self) -> Option<f64> {
        (self.trap_nights > 0).then(|| f64::from(self.count) / f64::from(self.trap_nights))
    }
}

/// Catches of one block's traps by kind, from the readings dated `from..=to`.
#[must_use]
pub fn catches(traps: &[&Trap], visits: &Visits, from: NaiveDate, to: NaiveDate) -> Vec<Catch> {
    let kinds = [
        TrapKind::Egg,
        TrapKind::Pheromone,
        TrapKind::PheromonePpo,
        TrapKind::BaitBag,
    ];
    kinds
        .into_iter()
        .map(|kind| {
            let of_kind: Vec<&Trap> = traps.iter().copied().filter(|t| t.kind == kind).collect();
            let counted = Counted::on(kind, all_females(&of_kind, visits, from, to));
            catch_of(kind, counted, &of_kind, visits, from, to)
        })
        .filter(|catch| catch.traps_hung > 0 || catch.traps_read > 0)
        .collect()
}

fn catch_of(
    kind: TrapKind,
    counted: Counted,
    traps: &[&Trap],
    visits: &Visits,
    from: NaiveDate,
    to: NaiveDate,
) -> Catch {
    let mut catch = Catch {
        kind,
        counted,
        count: 0,
        traps_read: 0,
        traps_with_some: 0,
        traps_hung: 0,
        trap_nights: 0,
    };
    for trap in traps {
        let in_time = spans(trap, visits, to).filter(|span| span.visit.date >= from);
        let (mut was_read, mut had_some) = (false, false);
        for span in in_time {
            let Some(count) = span.count(counted) else {
                continue;
            };
            was_read = true;
            had_some |= count > 0;
            catch.count += count;
            catch.trap_nights += span.nights;
        }
        // One that was taken down since it was read hung for it.
        catch.traps_hung += usize::from(was_read || trap.hangs_on(to));
        catch.traps_read += usize::from(was_read);
        catch.traps_with_some += usize::from(had_some);
    }
    catch
}

/// Whether every count of these traps is one of females alone.
fn all_females(traps: &[&Trap], visits: &Visits, from: NaiveDate, to: NaiveDate) -> bool {
    let seen = traps.iter().flat_map(|trap| visits.of(&trap.id, to));
    let mut counts = seen.filter(|visit| visit.date >= from && visit.all_moths().is_some());
    counts.all(Visit::is_of_females_alone)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;

    fn date(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 5, day).unwrap()
    }

    fn trap() -> Trap {
        sample::trap("P1", TrapKind::Pheromone, date(1))
    }

    fn visit(day: u32, males: Option<u32>, readable: bool) -> Visit {
        Visit {
            males,
            readable,
            ..sample::visit("P1", date(day))
        }
    }

    #[test]
    fn unequal_intervals_are_divided_by_their_nights() {
        let visits = Visits::new(vec![
            visit(4, Some(6), true),
            visit(11, Some(7), true),
            visit(13, None, false),
            visit(15, Some(4), true),
        ]);
        // Worked by hand: nights 3, 7 and 2 (from the unreadable visit on); 6 + 7 + 4 moths.
        let catch = &catches(&[&trap()], &visits, date(1), date(20))[0];
        assert_eq!((catch.count, catch.trap_nights), (17, 12));
        assert_eq!((catch.traps_read, catch.traps_hung), (1, 1));
    }

    #[test]
    fn traps_with_some_are_counted_once_beside_those_that_were_read_and_empty() {
        let traps = ["E1", "E2", "E3"].map(|id| sample::trap(id, TrapKind::Egg, date(1)));
        let eggs = |trap: &str, day, eggs| Visit {
            eggs: Some(eggs),
            ..sample::visit(trap, date(day))
        };
        let visits = vec![eggs("E1", 4, 2), eggs("E1", 8, 3), eggs("E2", 8, 0)];
        let traps: Vec<&Trap> = traps.iter().collect();
        let catch = &catches(&traps, &Visits::new(visits), date(1), date(9))[0];
        let seen = (catch.traps_with_some, catch.traps_read, catch.traps_hung);
        assert_eq!(seen, (1, 2, 3));
    }

    #[test]
    fn a_trap_that_was_not_read_has_no_catch_rather_than_zero() {
        let visits = Visits::new(vec![visit(4, None, false)]);
        let catch = &catches(&[&trap()], &visits, date(1), date(20))[0];
        assert_eq!(catch.traps_read, 0);
        assert_eq!(catch.per_trap_night(), None);
    }
}
