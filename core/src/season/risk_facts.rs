//! What decides risk beside catches: facts as entered and declared. No score is made of them, since no
//! published way to weigh them foretells damage (Wilson, Burks, Reger & Wenger 2020, J. Integr. Pest
//! Manag. 11(1)).

use chrono::{Datelike, NaiveDate};

use crate::trapping::{HarvestSample, Note, NoteKind, NutSample};

/// Of a normal distribution 95 % lie within so many standard deviations.
const DEVIATIONS_OF_95_PERCENT: f64 = 1.959_963_984_540_054;

/// Notes of a block that bear on its risk this season, each list oldest first.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RiskFacts {
    /// Mummies counted since the last harvest.
    pub mummies: Vec<Note>,
    /// Harvest samples, field damage and rejects of the newest earlier year that has any.
    pub damage: Vec<Note>,
    /// Nuts sampled this year before harvest.
    pub nut_samples: Vec<Note>,
    /// Bloom and hull split seen this year.
    pub crop: Vec<Note>,
    /// Insecticides put on this year.
    pub insecticides: Vec<Note>,
}

/// A share of a sample and how far it may be from that of the whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampleShare {
    /// The share found, in percent.
    pub percent: f64,
    /// The 95 % interval, in percent.
    pub interval: (f64, f64),
}

impl SampleShare {
    /// The share of `found` in `of`, with Wilson's interval (Wilson 1927, J. Am. Stat. Assoc. 22:209-212),
    /// which holds for small shares too; `None` of an empty sample. It knows nothing of damage that comes
    /// in clumps, so that the true uncertainty is wider.
    #[must_use]
    pub fn new(found: u32, of: u32) -> Option<Self> {
        if of == 0 || found > of {
            return None;
        }
        let (n, share) = (f64::from(of), f64::from(found) / f64::from(of));
        let z2 = DEVIATIONS_OF_95_PERCENT.powi(2);
        let middle = share + z2 / (2.0 * n);
        let half = (z2 * (share * (1.0 - share) / n + z2 / (4.0 * n * n))).sqrt();
        let percent = |bound: f64| 100.0 * (bound / (1.0 + z2 / n)).clamp(0.0, 1.0);
        Some(Self {
            percent: 100.0 * share,
            interval: (percent(middle - half), percent(middle + half)),
        })
    }

    /// The share of a harvest sample that navel orangeworm damaged.
    #[must_use]
    pub fn of_orangeworm(sample: &HarvestSample) -> Option<Self> {
        Self::new(sample.orangeworm, sample.nuts)
    }

    /// The same of a sample before harvest.
    #[must_use]
    pub fn of_nuts(sample: &NutSample) -> Option<Self> {
        Self::new(sample.damaged, sample.nuts)
    }
}

/// Picks from the notes of one block up to a day.
pub(super) fn risk_facts(notes: &[Note], as_of: NaiveDate) -> RiskFacts {
    let mut own: Vec<&Note> = notes.iter().filter(|note| note.date <= as_of).collect();
    own.sort_by_key(|note| note.date);
    let this_year = |note: &Note| note.date.year() == as_of.year();
    let is_damage = |note: &Note| is_damage(&note.kind) && !this_year(note);
    let harvests = own.iter().filter(|note| is_damage(note));
    let newest = harvests.map(|note| note.date.year()).max();
    let pick = |wanted: &dyn Fn(&Note) -> bool| -> Vec<Note> {
        let picked = own.iter().filter(|note| wanted(note));
        picked.map(|note| (*note).clone()).collect()
    };
    RiskFacts {
        mummies: pick(&|note| note.counts_mummies_to(as_of)),
        damage: pick(&|note| is_damage(note) && Some(note.date.year()) == newest),
        nut_samples: pick(&|note| matches!(note.kind, NoteKind::NutSample(_)) && this_year(note)),
        crop: pick(&|note| is_of_crop(&note.kind) && this_year(note)),
        insecticides: pick(&|note| note.kind == NoteKind::Insecticide && this_year(note)),
    }
}

const fn is_damage(kind: &NoteKind) -> bool {
    matches!(
        kind,
        NoteKind::HarvestSample(_) | NoteKind::FieldDamage(_) | NoteKind::Rejects(_)
    )
}

const fn is_of_crop(kind: &NoteKind) -> bool {
    matches!(
        kind,
        NoteKind::Bloom | NoteKind::HullSplit | NoteKind::HullSplitCheck(_)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::note;
    use crate::season::tests::date;
    use crate::trapping::Mummies;

    #[test]
    fn the_interval_of_ten_in_five_hundred_is_the_published_one() {
        // By hand: (0.02 + 3.8415/1000) / (1 + 3.8415/500) = 0.02366; the half width is 1.95996 ·
        // √(0.02 · 0.98/500 + 3.8415/1,000,000) / 1.00768 = 0.01276: 1.09 to 3.64 %.
        let share = SampleShare::new(10, 500).unwrap();
        let close = |got: f64, expected: f64| (got - expected).abs() < 0.005;
        assert!(close(share.percent, 2.0));
        assert!(close(share.interval.0, 1.09), "{share:?}");
        assert!(close(share.interval.1, 3.64), "{share:?}");
    }

    #[test]
    fn intervals_are_those_of_an_independent_library() {
        let table = include_str!("../../../tests/data/intervals/wilson.csv");
        let rows = table.lines().skip(1).map(|row| {
            let cells: Vec<f64> = row.split(',').map(|cell| cell.parse().unwrap()).collect();
            (cells[0] as u32, cells[1] as u32, cells[2], cells[3])
        });
        let mut checked = 0;
        for (found, of, low, high) in rows {
            let (got_low, got_high) = SampleShare::new(found, of).unwrap().interval;
            let off = (got_low - low).abs().max((got_high - high).abs());
            assert!(off < 1e-9, "{found} of {of}: {got_low} to {got_high}");
            checked += 1;
        }
        assert!(checked > 50, "{checked} rows");
    }

    #[test]
    fn of_no_nut_there_is_no_share() {
        assert_eq!(SampleShare::new(0, 0), None);
        let none = SampleShare::new(0, 300).unwrap();
        assert!(none.interval.0.abs() < 1e-12 && none.interval.1 > 1.0);
    }

    #[test]
    fn nut_samples_are_those_of_this_year_and_no_damage_of_a_harvest() {
        let sampled = |day| {
            let sample = NutSample {
                nuts: 300,
                damaged: 3,
            };
            note(day, Some("Nonpareil"), NoteKind::NutSample(sample))
        };
        let this_year = sampled(date(2021, 7, 20));
        let notes = [
            sampled(date(2020, 7, 20)),
            this_year.clone(),
            sampled(date(2021, 8, 2)),
        ];
        let facts = risk_facts(&notes, date(2021, 8, 1));
        assert_eq!(facts.nut_samples, [this_year]);
        assert_eq!(facts.damage, []);
    }

    #[test]
    fn mummies_are_those_left_since_harvest_and_damage_that_of_the_newest_harvest() {
        let mummies = |day| {
            let counted = Mummies {
                in_tree: Some(1.0),
                on_ground: None,
                trees: 20,
            };
            note(day, None, NoteKind::Mummies(counted))
        };
        let damage = |day, percent| note(day, None, NoteKind::FieldDamage(percent));
        let notes = [
            damage(date(2020, 9, 1), 2.5),
            damage(date(2019, 9, 1), 4.0),
            damage(date(2021, 9, 1), 1.0),
            mummies(date(2021, 1, 12)),
            mummies(date(2020, 12, 1)),
            mummies(date(2020, 1, 12)),
            note(date(2021, 2, 20), None, NoteKind::Bloom),
            note(date(2020, 2, 20), None, NoteKind::Bloom),
            note(date(2021, 7, 1), None, NoteKind::Insecticide),
            note(date(2021, 5, 1), None, NoteKind::Insecticide),
        ];
        let context = risk_facts(&notes, date(2021, 6, 1));
        let days = |notes: &[Note]| notes.iter().map(|note| note.date).collect::<Vec<_>>();
        assert_eq!(
            days(&context.mummies),
            [date(2020, 12, 1), date(2021, 1, 12)]
        );
        assert_eq!(context.damage, [damage(date(2020, 9, 1), 2.5)]);
        assert_eq!(days(&context.crop), [date(2021, 2, 20)]);
        assert_eq!(days(&context.insecticides), [date(2021, 5, 1)]);
    }
}
