//! Field notes about a block or one of its varieties, as entered.

use chrono::{DateTime, Datelike, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

use crate::id::BlockId;

/// A field note about a block, or one variety of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    /// The block.
    pub block: BlockId,
    /// The variety, where the note is about one.
    pub variety: Option<String>,
    /// The day it was seen or decided.
    pub date: NaiveDate,
    /// What it says.
    pub kind: NoteKind,
    /// A remark, such as the reason for a start set by hand or where a number comes from.
    pub text: String,
    /// Who entered it.
    pub by: String,
    /// When it was entered as it stands; of one that is only just read from a sheet, when it was read.
    pub entered_at: DateTime<Utc>,
}

/// Mummies counted from this month on are those of the season to come: almonds are in by then. Common
/// practice, no source.
const MUMMIES_FROM_MONTH: u32 = 10;

impl Note {
    /// Whether it is of the year of a day, up to that day.
    #[must_use]
    pub fn is_of_year_to(&self, day: NaiveDate) -> bool {
        self.date <= day && self.date.year() == day.year()
    }

    /// Whether it counts the mummies that the harvest before the year of a day left, up to that day.
    #[must_use]
    pub fn counts_mummies_to(&self, day: NaiveDate) -> bool {
        let since = (day.year() - 1, MUMMIES_FROM_MONTH);
        matches!(self.kind, NoteKind::Mummies(_))
            && self.date <= day
            && (self.date.year(), self.date.month()) >= since
    }
}

/// Notes sorted by block, so that one block's are a slice.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Notes(Vec<Note>);

impl Notes {
    /// Sorts the notes by block; those of one block keep their order.
    #[must_use]
    pub fn new(mut notes: Vec<Note>) -> Self {
        notes.sort_by(|a, b| a.block.cmp(&b.block));
        Self(notes)
    }

    /// The notes of the block with an id, or of the group named after it.
    #[must_use]
    pub fn of(&self, block: &str) -> &[Note] {
        let from = self.0.partition_point(|note| note.block.as_str() < block);
        let rest = &self.0[from..];
        &rest[..rest.partition_point(|note| note.block.as_str() == block)]
    }
}

/// What a field note says.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", content = "value", rename_all = "kebab-case")]
pub enum NoteKind {
    /// The egg-laying start is set by hand.
    EggLayingStart(StartByHand),
    /// Full bloom on the note's date.
    Bloom,
    /// First hull split of sound nuts was seen on the note's date.
    HullSplit,
    /// First hull split of sound nuts is expected on this day.
    HullSplitExpected(NaiveDate),
    /// How far hull split had come on the note's date.
    HullSplitCheck(SplitCheck),
    /// When the variety will be shaken.
    ShakeExpected(Expected),
    /// The variety was shaken on the note's date.
    Shaken,
    /// Nuts left over from last year, counted on the note's date.
    Mummies(Mummies),
    /// Nuts cracked out of a sample taken at harvest, after shaking and before sweeping.
    HarvestSample(HarvestSample),
    /// Nuts looked at before harvest.
    NutSample(NutSample),
    /// Nuts damaged in the field at the harvest of the note's date, in percent, where no sample of
    /// that harvest is entered.
    FieldDamage(f64),
    /// Rejects at the handler of the harvest of the note's date, in percent. Much of what was
    /// damaged never gets there, so this is not field damage.
    Rejects(f64),
    /// An insecticide was put on: a plain fact, without product or rate.
    Insecticide,
    /// The dispensers of mating disruption went on on the note's date.
    DispensersOn,
    /// The last day on which the dispensers serve.
    DispensersUntil(NaiveDate),
    /// Nobody enters before this day, as typed from the posting.
    NoEntryUntil(NaiveDate),
}

/// An egg-laying start set by hand. It is stored as the plain day where no range was entered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(from = "StoredStart", into = "StoredStart")]
pub struct StartByHand {
    /// The day.
    pub day: NaiveDate,
    /// The earliest and the latest day on which laying may have begun, where they were entered.
    pub within: Option<[NaiveDate; 2]>,
}

impl From<NaiveDate> for StartByHand {
    fn from(day: NaiveDate) -> Self {
        Self { day, within: None }
    }
}

#[derive(Serialize, Deserialize)]
#[serde(untagged)]
enum StoredStart {
    Day(NaiveDate),
    Within(Expected),
}

impl From<StoredStart> for StartByHand {
    fn from(stored: StoredStart) -> Self {
        match stored {
            StoredStart::Day(day) => day.into(),
            StoredStart::Within(days) => Self {
                day: days.likely,
                within: Some([days.earliest, days.latest]),
            },
        }
    }
}

impl From<StartByHand> for StoredStart {
    fn from(StartByHand { day, within }: StartByHand) -> Self {
        within.map_or(Self::Day(day), |[earliest, latest]| {
            Self::Within(Expected {
                earliest,
                likely: day,
                latest,
            })
        })
    }
}

/// A day that is not certain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Expected {
    /// The earliest day it may be.
    pub earliest: NaiveDate,
    /// The likely one.
    pub likely: NaiveDate,
    /// The latest.
    pub latest: NaiveDate,
}

impl Expected {
    /// The earliest, the likely and the latest.
    #[must_use]
    pub const fn days(self) -> [NaiveDate; 3] {
        [self.earliest, self.likely, self.latest]
    }
}

/// Hull split of sound nuts by their place in the tree, blanks left out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SplitCheck {
    /// Percent split in the top, southwest side first.
    pub top: Option<f64>,
    /// Percent split at middle height.
    pub middle: Option<f64>,
    /// Percent split low in the tree.
    pub low: Option<f64>,
    /// Trees looked at.
    pub trees: u16,
    /// How far the foremost nuts had come, with the scale that names the stage.
    pub stage: Option<Stage>,
}

impl SplitCheck {
    /// Whether any sound nut had split.
    #[must_use]
    pub fn has_begun(&self) -> bool {
        let percents = [self.top, self.middle, self.low];
        percents.into_iter().flatten().any(|percent| percent > 0.0)
            || self.stage.is_some_and(Stage::is_split)
    }
}

/// A stage of a published scale of hull split. The scales do not map onto each other by any
/// published table, so a stage is kept with the name of its scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stage {
    /// The scale.
    pub scale: Scale,
    /// The place of the stage in [`Scale::stages`].
    pub place: u8,
}

/// A published scale of hull split.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Scale {
    /// Reyes, Milliron & Niederholzer, "When do you shake almonds?", UC Cooperative Extension.
    Ucce,
    /// UC IPM's picture guide to hull split.
    UcIpm,
    /// The older letters of extension texts.
    Letters,
}

impl Scale {
    /// All scales.
    pub const ALL: [Self; 3] = [Self::Ucce, Self::UcIpm, Self::Letters];

    /// The word used in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ucce => "ucce",
            Self::UcIpm => "uc-ipm",
            Self::Letters => "letters",
        }
    }

    /// Reads what [`Scale::name`] writes.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|scale| scale.name() == name)
    }

    /// The stages as written, from closed to dry.
    #[must_use]
    pub const fn stages(self) -> &'static [&'static str] {
        match self {
            Self::Ucce => &["1", "2A", "2B", "2C", "3", "4", "5", "6"],
            Self::UcIpm => &[
                "unsplit",
                "initial-separation",
                "deep-v",
                "split-under-1cm",
                "split-over-1cm",
                "initial-drying",
                "dry",
            ],
            Self::Letters => &["a", "b1", "b2", "b3", "c", "d", "e", "f"],
        }
    }

    /// The first stage that counts as split: pressing the ends pops a nut of 2C open (Reyes et al.);
    /// in the picture guide the nut before is named "unsplit"; the letters' own is from memory.
    const fn first_split(self) -> u8 {
        match self {
            Self::Ucce | Self::UcIpm | Self::Letters => 3,
        }
    }
}

impl Stage {
    /// Reads a stage of a scale; capitals do not matter.
    #[must_use]
    pub fn new(scale: Scale, name: &str) -> Option<Self> {
        let mut stages = scale.stages().iter();
        let place = stages.position(|stage| stage.eq_ignore_ascii_case(name))?;
        let place = u8::try_from(place).ok()?;
        Some(Self { scale, place })
    }

    /// The stage as written.
    #[must_use]
    pub fn name(self) -> &'static str {
        let stages = self.scale.stages();
        stages.get(usize::from(self.place)).copied().unwrap_or("?")
    }

    /// Whether a nut of this stage counts as split.
    #[must_use]
    pub const fn is_split(self) -> bool {
        self.place >= self.scale.first_split()
    }
}

/// Nuts left over from last year.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Mummies {
    /// So many in a tree.
    pub in_tree: Option<f64>,
    /// So many on the ground under a tree.
    pub on_ground: Option<f64>,
    /// Trees looked at.
    pub trees: u16,
}

/// A harvest sample by cause of damage.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct HarvestSample {
    /// Nuts cracked out.
    pub nuts: u32,
    /// Of those, damaged by navel orangeworm.
    pub orangeworm: u32,
    /// By peach twig borer.
    pub twig_borer: u32,
    /// By ants.
    pub ants: u32,
    /// By anything else.
    pub other: u32,
}

/// Nuts taken from the trees before harvest. With catches of females they are the best predictors of damage
/// known, and leave half of it unexplained (r² about 0.5; as cited in Higbee & Burks 2021, Insects 12:188).
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct NutSample {
    /// Nuts looked at.
    pub nuts: u32,
    /// Of those, damaged by navel orangeworm.
    pub damaged: u32,
}

impl HarvestSample {
    /// Nuts with any damage; each is counted under one cause.
    #[must_use]
    pub fn damaged(&self) -> u32 {
        [self.orangeworm, self.twig_borer, self.ants, self.other]
            .into_iter()
            .fold(0, u32::saturating_add)
    }
}

impl NoteKind {
    /// The words used in files.
    pub const NAMES: [&'static str; 16] = [
        "egg-laying-start",
        "bloom",
        "hull-split",
        "hull-split-expected",
        "hull-split-check",
        "shake-expected",
        "shaken",
        "mummies",
        "harvest-sample",
        "nut-sample",
        "field-damage",
        "rejects",
        "insecticide",
        "dispensers-on",
        "dispensers-until",
        "no-entry-until",
    ];

    /// The word used in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        let place = match self {
            Self::EggLayingStart(_) => 0,
            Self::Bloom => 1,
            Self::HullSplit => 2,
            Self::HullSplitExpected(_) => 3,
            Self::HullSplitCheck(_) => 4,
            Self::ShakeExpected(_) => 5,
            Self::Shaken => 6,
            Self::Mummies(_) => 7,
            Self::HarvestSample(_) => 8,
            Self::NutSample(_) => 9,
            Self::FieldDamage(_) => 10,
            Self::Rejects(_) => 11,
            Self::Insecticide => 12,
            Self::DispensersOn => 13,
            Self::DispensersUntil(_) => 14,
            Self::NoEntryUntil(_) => 15,
        };
        Self::NAMES[place]
    }

    /// Whether it shows first hull split of sound nuts on the note's date.
    #[must_use]
    pub fn shows_hull_split(&self) -> bool {
        match self {
            Self::HullSplit => true,
            Self::HullSplitCheck(check) => check.has_begun(),
            _ => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn split_begins_at_2c_of_the_extension_scale() {
        // Reyes et al.: a nut of 2C pops open when its ends are pressed and counts as split.
        let is_split = |name| Stage::new(Scale::Ucce, name).unwrap().is_split();
        assert_eq!(["2B", "2c", "3"].map(is_split), [false, true, true]);
        assert_eq!(Stage::new(Scale::Ucce, "deep-v"), None);
        assert_eq!(Stage::new(Scale::UcIpm, "Deep-V").unwrap().name(), "deep-v");
    }

    #[test]
    fn one_blocks_notes_are_a_slice_in_their_order() {
        let day = |day| NaiveDate::from_ymd_opt(2022, 6, day).unwrap();
        let of = |block: &str, on| Note {
            block: BlockId::new(block).unwrap(),
            ..crate::sample::note(day(on), None, NoteKind::Bloom)
        };
        let notes = Notes::new(vec![of("C", 3), of("B", 9), of("A", 1), of("B", 2)]);
        let days = |block| {
            notes
                .of(block)
                .iter()
                .map(|note| note.date)
                .collect::<Vec<_>>()
        };
        assert_eq!(days("B"), [day(9), day(2)]);
        assert_eq!(
            (days("C").len(), days("D").len(), days("").len()),
            (1, 0, 0)
        );
    }

    #[test]
    fn a_check_shows_split_once_any_sound_nut_has() {
        let mut check = SplitCheck {
            top: Some(0.0),
            middle: None,
            low: None,
            trees: 6,
            stage: Stage::new(Scale::Ucce, "2B"),
        };
        assert!(!NoteKind::HullSplitCheck(check).shows_hull_split());
        check.top = Some(1.0);
        assert!(NoteKind::HullSplitCheck(check).shows_hull_split());
    }
}
