//! How days and places are said to one person.

use chrono::NaiveDate;

use super::{Language, RoundWords};
use crate::id::TrapId;
use crate::orchard::Place;
use crate::wording::gather::trap_runs;
use crate::wording::words::{DateOrder, Words};

/// A language in a farm's order of days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Speech {
    /// The language.
    pub language: Language,
    /// The order of month and day, in languages that have both.
    pub order: DateOrder,
}

impl Speech {
    /// Of a farm's words.
    #[must_use]
    pub const fn of(language: Language, words: Words) -> Self {
        Self {
            language,
            order: words.order,
        }
    }

    /// The words of rounds.
    #[must_use]
    pub const fn round(self) -> &'static RoundWords {
        &self.language.words().round
    }

    /// A day of the season, without its year.
    #[must_use]
    pub fn day(self, day: NaiveDate) -> String {
        self.language.day(self.order, day)
    }

    /// A day with its weekday and year, for headings.
    #[must_use]
    pub fn long_day(self, day: NaiveDate) -> String {
        (self.round().long_day)(day, self.order)
    }

    /// The way from the gate to the tree, by commas.
    #[must_use]
    pub fn place(self, place: &Place) -> String {
        let words = self.round();
        let named = [
            (words.gate, &place.gate),
            (words.row, &place.row),
            (words.tree, &place.tree),
        ];
        let named = named.into_iter().filter(|(_, at)| !at.is_empty());
        let named = named.map(|(what, at)| format!("{what} {at}"));
        let remark = Some(&place.remark).filter(|remark| !remark.is_empty());
        let all: Vec<String> = named.chain(remark.cloned()).collect();
        all.join(", ")
    }

    /// Trap ids in their order, runs of numbers by their ends.
    #[must_use]
    pub fn traps(self, traps: &[&TrapId]) -> String {
        trap_runs(traps, self.round().to)
    }

    /// A route by its name, or that there is none.
    #[must_use]
    pub fn route(self, route: Option<&str>) -> String {
        let words = self.round();
        route.map_or_else(|| words.no_route.to_owned(), words.route)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(language: Language, order: DateOrder) -> [String; 2] {
        let day = NaiveDate::from_ymd_opt(2022, 6, 21).unwrap();
        let speech = Speech { language, order };
        [speech.day(day), speech.long_day(day)]
    }

    #[test]
    fn spanish_days_have_one_order_and_english_ones_the_farms() {
        let spanish = ["21 jun", "martes, 21 de junio de 2022"];
        for order in [DateOrder::MonthDay, DateOrder::DayMonth] {
            assert_eq!(said(Language::Spanish, order), spanish);
        }
        let english = said(Language::English, DateOrder::MonthDay);
        assert_eq!(english, ["Jun 21", "Tuesday, June 21, 2022"]);
        let english = said(Language::English, DateOrder::DayMonth);
        assert_eq!(english[0], "21 Jun");
    }

    #[test]
    fn a_place_is_said_from_the_gate_to_the_tree() {
        let place = Place {
            gate: "2".into(),
            tree: "18".into(),
            remark: "by the pump".into(),
            ..Place::default()
        };
        let said = |language| Speech::of(language, Words::default()).place(&place);
        assert_eq!(said(Language::English), "gate 2, tree 18, by the pump");
        assert_eq!(said(Language::Spanish), "portón 2, árbol 18, by the pump");
    }
}
