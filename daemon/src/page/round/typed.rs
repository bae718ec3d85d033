//! What was typed into the form of a round, field by field.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use chrono::NaiveDate;
use duskflight_core::id::TrapId;
use duskflight_core::orchard::Part;
use duskflight_core::trapping::Visit;

use crate::hash::hash;
use crate::page::asked::{day, form, no_form};
use crate::page::page_error::PageError;

/// Longest remark, in characters.
const LONGEST_NOTE: usize = 500;
/// A form has no more fields.
const MOST_FIELDS: usize = 20_000;

/// What was typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Typed {
    /// The mark of the form, or of what is to be taken back.
    pub(super) form: String,
    /// The day of the readings.
    pub(super) day: NaiveDate,
    /// Who read the traps, where that had to be chosen.
    pub(super) by: String,
    /// By trap.
    pub(super) traps: BTreeMap<TrapId, TypedTrap>,
    /// A short name of all of it: the same form sent again has the same.
    pub(super) whole: String,
}

/// What was typed at one trap.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct TypedTrap {
    /// Counts by their column, as typed.
    pub(super) counts: BTreeMap<String, String>,
    /// Whether it was not readable.
    pub(super) unreadable: bool,
    /// Whether eggs were left on.
    pub(super) left: bool,
    /// Parts that were changed.
    pub(super) parts: Vec<Part>,
    /// A remark.
    pub(super) note: String,
    /// Whether what was asked about is right.
    pub(super) sure: bool,
}

/// A mark for a form.
///
/// # Errors
/// The system gives no random numbers.
pub(super) fn new_form() -> Result<String, PageError> {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes)
        .map_err(|error| PageError::Asked(format!("no form can be made now: {error}")))?;
    let mut text = String::new();
    for byte in bytes {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
    }
    Ok(text)
}

impl Typed {
    /// A form in which nothing is typed yet.
    pub(super) fn fresh(day: NaiveDate) -> Self {
        Self {
            form: String::new(),
            day,
            by: String::new(),
            traps: BTreeMap::new(),
            whole: String::new(),
        }
    }

    /// Reads a form that was sent. `today` stands where no day was typed.
    ///
    /// # Errors
    /// It is no form of a round, or its day is none.
    pub(super) fn read(body: &str, today: NaiveDate) -> Result<Self, PageError> {
        let fields: Vec<(String, String)> = form(body)?;
        if fields.len() > MOST_FIELDS {
            return Err(no_form());
        }
        let mut typed = Self::fresh(today);
        let mut said = String::new();
        for (name, value) in fields {
            let value = value.trim().to_owned();
            match name.as_str() {
                // A page that was opened anew has another, for the same form.
                "proof" => continue,
                "form" => typed.form.clone_from(&value),
                "by" => typed.by.clone_from(&value),
                "day" => typed.day = day(&value)?.unwrap_or(today),
                _ => typed.field(&name, &value).ok_or_else(no_form)?,
            }
            // Writing to a string cannot fail.
            let _ = writeln!(said, "{name}={value}");
        }
        typed.whole = hash(&[said.as_bytes()]);
        Ok(typed)
    }

    /// A field of a trap: what it is, the trap, and which of its kind, parted by colons.
    fn field(&mut self, name: &str, value: &str) -> Option<()> {
        let mut parts = name.splitn(3, ':');
        let (kind, trap) = (parts.next()?, parts.next()?);
        let trap = self.traps.entry(TrapId::new(trap).ok()?).or_default();
        match (kind, parts.next()) {
            ("count", Some(of)) => drop(trap.counts.insert(of.to_owned(), value.to_owned())),
            ("unreadable", None) => trap.unreadable = true,
            ("left", None) => trap.left = true,
            ("part", Some(part)) => trap.parts.push(Part::from_name(part)?),
            ("note", None) => trap.note = value.chars().take(LONGEST_NOTE).collect(),
            ("sure", None) => trap.sure = true,
            _ => return None,
        }
        Some(())
    }
}

impl TypedTrap {
    /// Whether anything was typed; a dash says that the trap was not read.
    pub(super) fn says_something(&self) -> bool {
        let counted = self
            .counts
            .values()
            .any(|count| !matches!(count.as_str(), "" | "-" | "–"));
        counted || self.unreadable || self.left || !self.parts.is_empty() || !self.note.is_empty()
    }

    /// The visit that it says, or why it says none.
    pub(super) fn visit(&self, trap: &TrapId, date: NaiveDate) -> Result<Visit, String> {
        let mut visit = Visit::new(trap.clone(), date);
        for (column, count) in &self.counts {
            let count = number(count)?;
            let place = match column.as_str() {
                "eggs" => &mut visit.eggs,
                "moths" => &mut visit.moths,
                "males" => &mut visit.males,
                "females" => &mut visit.females,
                other => return Err(format!("{other} are not counted here")),
            };
            *place = count;
        }
        visit.readable = !self.unreadable;
        visit.eggs_left = self.left;
        visit.serviced = self.parts.iter().copied().collect();
        visit.note.clone_from(&self.note);
        Ok(visit)
    }
}

/// A count as people type it; nothing and a dash are none.
fn number(text: &str) -> Result<Option<u32>, String> {
    match text {
        "" | "-" | "–" => Ok(None),
        // A point behind it is one of the keys beside it.
        _ => text
            .trim_end_matches(['.', ','])
            .parse()
            .map(Some)
            .map_err(|_| {
                format!(
                    "{text:?} is no count: type a whole number, or - where the trap was not read"
                )
            }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn today() -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, 20).unwrap()
    }

    fn read(body: &str) -> Typed {
        Typed::read(body, today()).unwrap()
    }

    #[test]
    fn each_field_is_of_a_trap_and_what_is_left_blank_says_nothing() {
        let typed = read(
            "form=ab&day=2022-06-19&count:N1-E1:eggs=12.&part:N1-E1:bait=on&left:N1-E1=on&count:N1-E2:eggs=-\
             &note:N1-E2=&count:C1.P:males=3&note:C1.P=a+dog%3A+one&unreadable:X=on",
        );
        assert_eq!(
            (typed.form.as_str(), typed.day.to_string().as_str()),
            ("ab", "2022-06-19")
        );
        let trap = |id: &str| TrapId::new(id).unwrap();
        let says: Vec<&str> = typed
            .traps
            .iter()
            .filter(|(_, trap)| trap.says_something())
            .map(|(id, _)| id.as_str())
            .collect();
        assert_eq!(says, ["C1.P", "N1-E1", "X"]);
        let visit = typed.traps[&trap("N1-E1")]
            .visit(&trap("N1-E1"), typed.day)
            .unwrap();
        assert_eq!(
            (visit.eggs, visit.eggs_left, visit.readable),
            (Some(12), true, true)
        );
        assert!(visit.serviced.contains(&Part::Bait));
        assert_eq!(typed.traps[&trap("C1.P")].note, "a dog: one");
        assert!(
            !typed.traps[&trap("X")]
                .visit(&trap("X"), typed.day)
                .unwrap()
                .readable
        );
    }

    #[test]
    fn what_is_no_count_is_refused_with_what_to_type() {
        for bad in ["1o", "3,5", "-1", "4294967296", "x"] {
            let typed = read(&format!("count:T:eggs={bad}"));
            let trap = TrapId::new("T").unwrap();
            let why = typed.traps[&trap].visit(&trap, typed.day).unwrap_err();
            assert!(why.contains("whole number"), "{bad}: {why}");
        }
    }

    #[test]
    fn the_same_form_sent_again_is_known_and_another_content_is_another() {
        let one = read("proof=a&form=ab&count:T:eggs=1");
        assert_eq!(read("proof=b&form=ab&count:T:eggs=1").whole, one.whole);
        assert_ne!(read("proof=a&form=ab&count:T:eggs=2").whole, one.whole);
        assert_ne!(read("proof=a&form=cd&count:T:eggs=1").whole, one.whole);
    }

    #[test]
    fn what_is_no_form_of_ours_is_refused() {
        for bad in [
            "day=soon",
            "count:T=1",
            "what:T:eggs=1",
            "part:T:wing=on",
            "count::eggs=1",
            "x=1",
        ] {
            assert!(Typed::read(bad, today()).is_err(), "{bad}");
        }
    }
}
