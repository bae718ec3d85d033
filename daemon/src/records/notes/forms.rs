//! The kinds of notes: the columns that each uses, and how it is read from them.

use chrono::{Datelike, NaiveDate};
use duskflight_core::trapping::{
    Expected, HarvestSample, Mummies, NoteKind, NutSample, Scale, SplitCheck, Stage, StartByHand,
};

use crate::nearest::suggestion;
use crate::sheet::{Fault, Row, keep};

/// Columns that only some kinds of notes use.
pub(super) const OF_KINDS: [&str; 18] = [
    "value",
    "earliest",
    "latest",
    "trees",
    "top",
    "middle",
    "low",
    "scale",
    "stage",
    "in_tree",
    "on_ground",
    "nuts",
    "orangeworm",
    "twig_borer",
    "ants",
    "other",
    "damaged",
    "percent",
];

/// What a kind of note is about.
#[derive(Clone, Copy)]
pub(super) enum About {
    Block,
    Either,
    Variety,
}

/// What a kind of note needs, may have besides, is about, and how it is read once the columns that it
/// needs are filled in and no others.
pub(super) struct Form {
    pub(super) name: &'static str,
    pub(super) about: About,
    pub(super) needs: &'static [&'static str],
    pub(super) may: &'static [&'static str],
    read: Read,
}

/// Reads what a note of a date says; without a date what does not depend on it.
type Read = fn(&Row<'_>, Option<NaiveDate>) -> Result<NoteKind, Vec<Fault>>;

const DAMAGE: [&str; 5] = ["nuts", "orangeworm", "twig_borer", "ants", "other"];

/// The kinds' forms, in the order of [`NoteKind::NAMES`].
pub(super) const FORMS: [Form; NoteKind::NAMES.len()] = [
    form(
        "egg-laying-start",
        About::Block,
        &["value", "note"],
        &["earliest", "latest"],
        start,
    ),
    form("bloom", About::Either, &[], &[], |_, _| Ok(NoteKind::Bloom)),
    form("hull-split", About::Variety, &[], &[], |_, _| {
        Ok(NoteKind::HullSplit)
    }),
    form(
        "hull-split-expected",
        About::Variety,
        &["value"],
        &[],
        split_expected,
    ),
    form(
        "hull-split-check",
        About::Variety,
        &["trees"],
        &["top", "middle", "low", "scale", "stage"],
        split_check,
    ),
    form(
        "shake-expected",
        About::Variety,
        &["earliest", "value", "latest"],
        &[],
        shake_expected,
    ),
    form("shaken", About::Variety, &[], &[], |_, _| {
        Ok(NoteKind::Shaken)
    }),
    form(
        "mummies",
        About::Either,
        &["trees"],
        &["in_tree", "on_ground"],
        mummies,
    ),
    form("harvest-sample", About::Either, &DAMAGE, &[], sample),
    form(
        "nut-sample",
        About::Either,
        &["nuts", "damaged"],
        &[],
        nut_sample,
    ),
    form(
        "field-damage",
        About::Either,
        &["percent"],
        &[],
        |row, _| Ok(NoteKind::FieldDamage(whole_percent(row)?)),
    ),
    form("rejects", About::Either, &["percent"], &[], |row, _| {
        Ok(NoteKind::Rejects(whole_percent(row)?))
    }),
    form("insecticide", About::Either, &[], &[], |_, _| {
        Ok(NoteKind::Insecticide)
    }),
    form("dispensers-on", About::Block, &[], &[], |_, _| {
        Ok(NoteKind::DispensersOn)
    }),
    form(
        "dispensers-until",
        About::Block,
        &["value"],
        &[],
        |row, _| Ok(NoteKind::DispensersUntil(row.day("value").map_err(one)?)),
    ),
    form("no-entry-until", About::Block, &["value"], &[], no_entry),
];

const fn form(
    name: &'static str,
    about: About,
    needs: &'static [&'static str],
    may: &'static [&'static str],
    read: Read,
) -> Form {
    Form {
        name,
        about,
        needs,
        may,
        read,
    }
}

fn one(fault: Fault) -> Vec<Fault> {
    vec![fault]
}

/// What the kind of a row has.
pub(super) fn form_of(row: &Row<'_>) -> Result<&'static Form, Fault> {
    let text = row.text("kind");
    FORMS.iter().find(|form| form.name == text).ok_or_else(|| {
        let what = match suggestion(text, NoteKind::NAMES) {
            near if near.is_empty() => format!("; the kinds are {}", NoteKind::NAMES.join(", ")),
            near => near,
        };
        row.wrong("kind", format!("no such kind of note{what}"))
    })
}

impl Form {
    /// What the note says. Of a column that is misplaced nothing else is said.
    pub(super) fn kind(
        &self,
        row: &Row<'_>,
        date: Option<NaiveDate>,
    ) -> Result<NoteKind, Vec<Fault>> {
        let mut faults = self.misplaced(row);
        match (self.read)(row, date) {
            Ok(kind) if faults.is_empty() => Ok(kind),
            Ok(_) => Err(faults),
            Err(wrong) => {
                let said: Vec<_> = faults.iter().map(|fault| fault.column).collect();
                faults.extend(
                    wrong
                        .into_iter()
                        .filter(|fault| !said.contains(&fault.column)),
                );
                Err(faults)
            }
        }
    }

    /// Columns that are needed and empty, and columns that are not used and filled in.
    fn misplaced(&self, row: &Row<'_>) -> Vec<Fault> {
        let name = self.name;
        let filled = |column: &&'static str| !row.text(column).is_empty();
        let missing = self.needs.iter().filter(|column| !filled(column));
        let missing = missing.map(|column| row.wrong(column, format!("{name} needs it")));
        let used = |column: &&'static str| self.needs.contains(column) || self.may.contains(column);
        let unused = OF_KINDS.iter().filter(|c| filled(c) && !used(c));
        let unused = unused.map(|column| {
            let uses: Vec<&str> = self.needs.iter().chain(self.may).copied().collect();
            let uses = match uses.as_slice() {
                [] => "none of its own".to_owned(),
                uses => uses.join(", "),
            };
            let what = format!("{name} does not use it; its columns: {uses}");
            row.wrong(column, what)
        });
        missing.chain(unused).collect()
    }
}

/// A day of the note's own year.
fn same_year(
    row: &Row<'_>,
    column: &'static str,
    date: Option<NaiveDate>,
) -> Result<NaiveDate, Fault> {
    let day = row.day(column)?;
    match date {
        Some(date) if day.year() != date.year() => {
            Err(row.wrong(column, "lies in another year than the note's date"))
        }
        _ => Ok(day),
    }
}

fn start(row: &Row<'_>, date: Option<NaiveDate>) -> Result<NoteKind, Vec<Fault>> {
    let mut faults = Vec::new();
    let start = keep(&mut faults, same_year(row, "value", date));
    if date.is_some_and(|date| start > Some(date)) {
        faults.push(row.wrong("value", "lies after the day it was decided"));
    }
    let within = start_range(row, start, date).map_err(|wrong| faults.extend(wrong));
    match (start, within) {
        (Some(day), Ok(within)) if faults.is_empty() => {
            Ok(NoteKind::EggLayingStart(StartByHand { day, within }))
        }
        _ => Err(faults),
    }
}

/// The earliest and the latest day of a start set by hand: both or neither.
fn start_range(
    row: &Row<'_>,
    start: Option<NaiveDate>,
    date: Option<NaiveDate>,
) -> Result<Option<[NaiveDate; 2]>, Vec<Fault>> {
    let lacks = |column| one(row.wrong(column, "give earliest and latest, or neither"));
    match (row.text("earliest"), row.text("latest")) {
        ("", "") => return Ok(None),
        ("", _) => return Err(lacks("earliest")),
        (_, "") => return Err(lacks("latest")),
        _ => {}
    }
    let mut faults = Vec::new();
    let mut day = |column| keep(&mut faults, same_year(row, column, date));
    let (Some(earliest), Some(latest)) = (day("earliest"), day("latest")) else {
        return Err(faults);
    };
    if start.is_some_and(|start| start < earliest) {
        faults.push(row.wrong("earliest", "lies after value, the start itself"));
    }
    if start.is_some_and(|start| latest < start) {
        faults.push(row.wrong("latest", "lies before value, the start itself"));
    }
    match faults.as_slice() {
        [] => Ok(Some([earliest, latest])),
        _ => Err(faults),
    }
}

fn split_expected(row: &Row<'_>, date: Option<NaiveDate>) -> Result<NoteKind, Vec<Fault>> {
    let expected = same_year(row, "value", date).map_err(one)?;
    Ok(NoteKind::HullSplitExpected(expected))
}

fn no_entry(row: &Row<'_>, date: Option<NaiveDate>) -> Result<NoteKind, Vec<Fault>> {
    let until = row.day("value").map_err(one)?;
    if date.is_some_and(|date| until < date) {
        return Err(one(row.wrong("value", "lies before the day it was posted")));
    }
    Ok(NoteKind::NoEntryUntil(until))
}

fn shake_expected(row: &Row<'_>, date: Option<NaiveDate>) -> Result<NoteKind, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut day = |column| keep(&mut faults, same_year(row, column, date));
    match (day("earliest"), day("value"), day("latest")) {
        (Some(earliest), Some(likely), Some(latest)) => {
            if likely < earliest {
                faults.push(row.wrong("value", "the likely day lies before the earliest"));
            }
            if latest < likely {
                faults.push(row.wrong("latest", "lies before value, the likely day"));
            }
            let expected = NoteKind::ShakeExpected(Expected {
                earliest,
                likely,
                latest,
            });
            faults.is_empty().then_some(expected).ok_or(faults)
        }
        _ => Err(faults),
    }
}

fn split_check(row: &Row<'_>, _: Option<NaiveDate>) -> Result<NoteKind, Vec<Fault>> {
    let mut faults = Vec::new();
    let [top, middle, low] =
        ["top", "middle", "low"].map(|column| keep(&mut faults, percent(row, column)).flatten());
    let trees = keep(&mut faults, trees(row));
    let stage = keep(&mut faults, stage(row)).flatten();
    if faults.is_empty() && [top, middle, low].iter().all(Option::is_none) && stage.is_none() {
        let what = "give a percentage by tree position, or a stage with its scale";
        faults.push(row.wrong("top", what));
    }
    match trees {
        Some(trees) if faults.is_empty() => Ok(NoteKind::HullSplitCheck(SplitCheck {
            top,
            middle,
            low,
            trees,
            stage,
        })),
        _ => Err(faults),
    }
}

fn stage(row: &Row<'_>) -> Result<Option<Stage>, Fault> {
    let scales = || Scale::ALL.map(Scale::name).join(", ");
    match (row.text("scale"), row.text("stage")) {
        ("", "") => Ok(None),
        ("", _) => Err(row.wrong("scale", format!("name the stage's scale: {}", scales()))),
        (_, "") => Err(row.wrong("stage", "name the stage, or leave the scale empty")),
        (scale, stage) => {
            let scale = Scale::from_name(scale).ok_or_else(|| {
                row.wrong("scale", format!("no such scale; there are {}", scales()))
            })?;
            let stage = Stage::new(scale, stage).ok_or_else(|| {
                let stages = scale.stages().join(", ");
                row.wrong(
                    "stage",
                    format!("the stages of {} are {stages}", scale.name()),
                )
            })?;
            Ok(Some(stage))
        }
    }
}

fn mummies(row: &Row<'_>, _: Option<NaiveDate>) -> Result<NoteKind, Vec<Fault>> {
    let mut faults = Vec::new();
    let wanted = "write how many a tree, from zero up";
    let [in_tree, on_ground] = ["in_tree", "on_ground"].map(|column| {
        keep(
            &mut faults,
            row.number_up_to(column, f64::from(u16::MAX), wanted),
        )
        .flatten()
    });
    let trees = keep(&mut faults, trees(row));
    if faults.is_empty() && in_tree.is_none() && on_ground.is_none() {
        faults.push(row.wrong("in_tree", "give in_tree, on_ground or both"));
    }
    match trees {
        Some(trees) if faults.is_empty() => Ok(NoteKind::Mummies(Mummies {
            in_tree,
            on_ground,
            trees,
        })),
        _ => Err(faults),
    }
}

fn sample(row: &Row<'_>, _: Option<NaiveDate>) -> Result<NoteKind, Vec<Fault>> {
    let mut faults = Vec::new();
    let counts = DAMAGE.map(|column| keep(&mut faults, row.count(column)).flatten());
    let [
        Some(nuts),
        Some(orangeworm),
        Some(twig_borer),
        Some(ants),
        Some(other),
    ] = counts
    else {
        return Err(faults);
    };
    let sample = HarvestSample {
        nuts,
        orangeworm,
        twig_borer,
        ants,
        other,
    };
    if nuts == 0 {
        return Err(one(row.wrong("nuts", "write how many were cracked out")));
    }
    if sample.damaged() > nuts {
        let what = format!(
            "{} damaged nuts are more than were cracked out",
            sample.damaged()
        );
        return Err(one(row.wrong("nuts", what)));
    }
    Ok(NoteKind::HarvestSample(sample))
}

fn nut_sample(row: &Row<'_>, _: Option<NaiveDate>) -> Result<NoteKind, Vec<Fault>> {
    let mut faults = Vec::new();
    let counts = ["nuts", "damaged"].map(|column| keep(&mut faults, row.count(column)).flatten());
    let [Some(nuts), Some(damaged)] = counts else {
        return Err(faults);
    };
    if nuts == 0 {
        return Err(one(row.wrong("nuts", "write how many were looked at")));
    }
    if damaged > nuts {
        return Err(one(row.wrong("damaged", "more than were looked at")));
    }
    Ok(NoteKind::NutSample(NutSample { nuts, damaged }))
}

fn trees(row: &Row<'_>) -> Result<u16, Fault> {
    let count = row.count("trees")?.filter(|trees| *trees > 0);
    let trees = count.and_then(|trees| u16::try_from(trees).ok());
    trees.ok_or_else(|| row.wrong("trees", "write how many trees were looked at, at least 1"))
}

fn percent(row: &Row<'_>, column: &'static str) -> Result<Option<f64>, Fault> {
    row.number_up_to(column, 100.0, "write a percentage from 0 to 100")
}

/// The percentage of a note that is nothing else.
fn whole_percent(row: &Row<'_>) -> Result<f64, Vec<Fault>> {
    let given = percent(row, "percent").map_err(one)?;
    given.ok_or_else(|| one(row.wrong("percent", "write a percentage from 0 to 100")))
}
