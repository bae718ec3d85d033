//! What decides risk beside catches in sentences: facts with their day and source, no score.

use crate::orchard::{Crop, Near};
use crate::season::{BlockSeason, SampleShare};
use crate::trapping::{HarvestSample, Mummies, Note, NoteKind, NutSample, SplitCheck};

use super::words::Words;

impl Words {
    /// Facts that bear on a block's risk this season.
    #[must_use]
    pub fn context_lines(self, season: &BlockSeason) -> Vec<String> {
        let context = &season.beside.risk;
        let mut lines = self.mummy_lines(season);
        lines.extend(self.damage_lines(season));
        lines.extend(self.nut_lines(season));
        if season.block.near.contains(&Near::Pistachio) {
            lines.push(
                "pistachios lie within 3 miles (declared); their effect reached so far (Higbee & \
                 Siegel 2009)"
                    .to_owned(),
            );
        }
        lines.push(format!(
            "varieties, the early one first: {}; late, soft-shelled and poorly sealed ones are damaged \
             more (UC IPM)",
            season.block.varieties.join(", ")
        ));
        lines.extend(context.crop.iter().map(|note| self.seen(note)));
        lines.extend(context.insecticides.iter().map(|note| self.seen(note)));
        lines
    }

    /// Mummies beside what was published elsewhere.
    fn mummy_lines(self, season: &BlockSeason) -> Vec<String> {
        let counted = &season.beside.risk.mummies;
        if counted.is_empty() {
            return vec!["mummies since last harvest: none counted, or not entered".to_owned()];
        }
        let mut lines: Vec<String> = counted.iter().map(|note| self.seen(note)).collect();
        if season.block.crop == Crop::Almond {
            lines.push(
                "published mummy counts of other places: at most 2 a tree, the older figure; 0.2 a \
                 tree and 4 on the ground, Kern County (Higbee & Siegel 2009)"
                    .to_owned(),
            );
        }
        lines
    }

    fn damage_lines(self, season: &BlockSeason) -> Vec<String> {
        match &season.beside.risk.damage[..] {
            [] => vec!["damage of an earlier harvest: not entered".to_owned()],
            notes => notes.iter().map(|note| self.seen(note)).collect(),
        }
    }

    /// Samples of nuts before harvest beside what they are worth.
    fn nut_lines(self, season: &BlockSeason) -> Vec<String> {
        let samples = &season.beside.risk.nut_samples;
        let worth = "nut samples before harvest and traps of females are the best predictors of damage known; half \
                     of it stays unexplained (r² about 0.5; Higbee & Burks 2021)";
        let worth = (!samples.is_empty()).then(|| worth.to_owned());
        let lines = samples.iter().map(|note| self.seen(note));
        lines.chain(worth).collect()
    }

    /// A note as a fact: what, when, of which variety, and who says so.
    pub(crate) fn seen(self, note: &Note) -> String {
        let what = match &note.kind {
            NoteKind::Mummies(mummies) => mummies_seen(mummies),
            NoteKind::HarvestSample(sample) => sample_seen(sample),
            NoteKind::NutSample(sample) => nuts_seen(sample),
            NoteKind::FieldDamage(percent) => format!("field damage {}", share(*percent)),
            NoteKind::Rejects(percent) => format!(
                "rejects {}, which are not field damage: much of that never gets to the handler",
                share(*percent)
            ),
            NoteKind::HullSplitCheck(check) => split_seen(check),
            NoteKind::HullSplit => "first hull split of sound nuts".to_owned(),
            NoteKind::Bloom => "full bloom".to_owned(),
            NoteKind::Insecticide => "an insecticide was put on".to_owned(),
            other => other.name().to_owned(),
        };
        let day = self.dated(note);
        let variety = note.variety.as_ref().map(|variety| format!(", {variety}"));
        let remark = Some(&note.text).filter(|text| !text.is_empty());
        let remark = remark.map(|text| format!(": {text}"));
        format!(
            "{day}{}: {what} (entered by {}{})",
            variety.unwrap_or_default(),
            note.by,
            remark.unwrap_or_default()
        )
    }

    /// The day, with its year: some of these facts are of earlier ones.
    fn dated(self, note: &Note) -> String {
        format!("{} {}", self.day(note.date), note.date.format("%Y"))
    }
}

fn mummies_seen(mummies: &Mummies) -> String {
    let counts = [
        mummies.in_tree.map(|count| format!("{count} a tree")),
        mummies
            .on_ground
            .map(|count| format!("{count} on the ground under a tree")),
    ];
    let counts: Vec<String> = counts.into_iter().flatten().collect();
    format!(
        "mummies {}, {} trees looked at",
        counts.join(", "),
        mummies.trees
    )
}

fn sample_seen(sample: &HarvestSample) -> String {
    let mut words = format!(
        "harvest sample, {} of {} nuts damaged by navel orangeworm",
        sample.orangeworm, sample.nuts
    );
    words.push_str(&interval(SampleShare::of_orangeworm(sample)));
    let others = [
        (sample.twig_borer, "peach twig borer"),
        (sample.ants, "ants"),
        (sample.other, "other causes"),
    ];
    for (count, cause) in others.into_iter().filter(|(count, _)| *count > 0) {
        words.push_str(&format!(", {count} by {cause}"));
    }
    words
}

fn nuts_seen(sample: &NutSample) -> String {
    format!(
        "nut sample before harvest, {} of {} nuts damaged by navel orangeworm{}",
        sample.damaged,
        sample.nuts,
        interval(SampleShare::of_nuts(sample))
    )
}

/// A sample's share and how far off it may be, after what was counted.
fn interval(share: Option<SampleShare>) -> String {
    share.map_or_else(String::new, |found| {
        let (low, high) = found.interval;
        format!(
            ", {:.1} % (95 % interval {low:.1}–{high:.1} %)",
            found.percent
        )
    })
}

fn split_seen(check: &SplitCheck) -> String {
    let places = [
        ("top", check.top),
        ("middle", check.middle),
        ("low", check.low),
    ];
    let percents = places
        .into_iter()
        .filter_map(|(place, percent)| Some(format!("{place} {}", share(percent?))));
    let stage = check
        .stage
        .map(|stage| format!("stage {} of the {} scale", stage.name(), stage.scale.name()));
    let seen: Vec<String> = percents.chain(stage).collect();
    format!(
        "hull split of sound nuts {}, {} trees looked at",
        seen.join(", "),
        check.trees
    )
}

fn share(percent: f64) -> String {
    format!("{percent} %")
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;
    use crate::orchard::Orchard;
    use crate::sample;
    use crate::trapping::{Scale, Stage};

    fn date(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    fn lines(notes: &[Note], near: Option<Near>) -> Vec<String> {
        let mut block = sample::block();
        block.near.extend(near);
        let orchard = Orchard::new(vec![block], Vec::new(), Vec::new());
        let season = sample::season(&orchard, Vec::new(), notes, date(2022, 7, 20));
        Words::default().context_lines(&season)
    }

    #[test]
    fn facts_stand_with_their_day_and_source() {
        let counted = Mummies {
            in_tree: Some(0.8),
            on_ground: Some(3.0),
            trees: 20,
        };
        let sample_of_500 = HarvestSample {
            nuts: 500,
            orangeworm: 10,
            ants: 4,
            ..HarvestSample::default()
        };
        let check = SplitCheck {
            top: Some(2.0),
            middle: None,
            low: Some(0.0),
            trees: 12,
            stage: Stage::new(Scale::Ucce, "2B"),
        };
        let nuts = NutSample {
            nuts: 300,
            damaged: 3,
        };
        let note = sample::note;
        let rejects = Note {
            text: "handler's sheet".into(),
            ..note(date(2021, 10, 4), None, NoteKind::Rejects(1.2))
        };
        let early = Some("Nonpareil");
        let notes = [
            note(date(2022, 1, 12), None, NoteKind::Mummies(counted)),
            note(
                date(2021, 8, 20),
                early,
                NoteKind::HarvestSample(sample_of_500),
            ),
            rejects,
            note(date(2022, 7, 8), early, NoteKind::HullSplitCheck(check)),
            note(date(2022, 7, 9), early, NoteKind::NutSample(nuts)),
            note(date(2022, 5, 2), None, NoteKind::Insecticide),
        ];
        let expected = [
            "Jan 12 2022: mummies 0.8 a tree, 3 on the ground under a tree, 20 trees looked at \
             (entered by adviser)",
            "published mummy counts of other places: at most 2 a tree, the older figure; 0.2 a tree \
             and 4 on the ground, Kern County (Higbee & Siegel 2009)",
            "Aug 20 2021, Nonpareil: harvest sample, 10 of 500 nuts damaged by navel orangeworm, 2.0 % \
             (95 % interval 1.1–3.6 %), 4 by ants (entered by adviser)",
            "Oct 4 2021: rejects 1.2 %, which are not field damage: much of that never gets to the \
             handler (entered by adviser: handler's sheet)",
            // By hand: (0.01 + 3.8415/600) / (1 + 3.8415/300) = 0.01620; the half width is
            // √(3.8415 · (0.01 · 0.99/300 + 3.8415/360,000)) / 1.01281 = 0.01279: 0.34 to 2.90 %.
            "Jul 9 2022, Nonpareil: nut sample before harvest, 3 of 300 nuts damaged by navel orangeworm, \
             1.0 % (95 % interval 0.3–2.9 %) (entered by adviser)",
            "nut samples before harvest and traps of females are the best predictors of damage known; half \
             of it stays unexplained (r² about 0.5; Higbee & Burks 2021)",
            "pistachios lie within 3 miles (declared); their effect reached so far (Higbee & Siegel \
             2009)",
            "varieties, the early one first: Nonpareil, Monterey; late, soft-shelled and poorly sealed \
             ones are damaged more (UC IPM)",
            "Jul 8 2022, Nonpareil: hull split of sound nuts top 2 %, low 0 %, stage 2B of the ucce \
             scale, 12 trees looked at (entered by adviser)",
            "May 2 2022: an insecticide was put on (entered by adviser)",
        ];
        assert_eq!(lines(&notes, Some(Near::Pistachio)), expected);
    }

    #[test]
    fn what_was_not_entered_is_said_to_be_missing_and_is_no_zero() {
        let lines = lines(&[], None);
        assert_eq!(
            lines[0],
            "mummies since last harvest: none counted, or not entered"
        );
        assert_eq!(lines[1], "damage of an earlier harvest: not entered");
        assert_eq!(lines.len(), 3);
    }
}
