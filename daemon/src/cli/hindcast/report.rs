//! What hindcasts say, a row each or in sum.

use duskflight_core::season::{ProjectedCrossing, TrueCrossing};

use crate::cli::common::plain_table;
use crate::sheet::csv_text;

/// One projection and what came.
pub(super) struct Hindsight {
    pub(super) year: i32,
    pub(super) target: f64,
    pub(super) made_on: u16,
    pub(super) projected: ProjectedCrossing,
    pub(super) truth: TrueCrossing,
}

/// One row a season, target and day made.
pub(super) fn csv(station: &str, rows: &[Hindsight]) -> String {
    let header = [
        "station", "year", "target", "made_on", "early", "middle", "late", "truth",
    ];
    let rows = rows.iter().map(|row| {
        let at = &row.projected;
        [
            station.to_owned(),
            row.year.to_string(),
            row.target.to_string(),
            row.made_on.to_string(),
            at.early.to_string(),
            at.middle.to_string(),
            at.late.to_string(),
            row.truth.at.to_string(),
        ]
    });
    csv_text(header, rows)
}

/// How the projections of one target and day made did.
struct Score {
    seasons: usize,
    error: f64,
    bias: f64,
    early: f64,
    late: f64,
    width: f64,
}

impl Score {
    /// Of the days as printed.
    fn of(rows: &[&Hindsight]) -> Self {
        let mean = |value: &dyn Fn(&Hindsight) -> f64| {
            rows.iter().map(|row| value(row)).sum::<f64>() / rows.len() as f64
        };
        let days = |a: chrono::NaiveDate, b: chrono::NaiveDate| (a - b).num_days() as f64;
        let share = |holds: bool| f64::from(u8::from(holds));
        let printed = |row: &Hindsight| row.projected.printed;
        Self {
            seasons: rows.len(),
            error: mean(&|row| days(printed(row)[1], row.truth.printed).abs()),
            bias: mean(&|row| days(printed(row)[1], row.truth.printed)),
            early: mean(&|row| share(row.truth.printed < printed(row)[0])),
            late: mean(&|row| share(row.truth.printed > printed(row)[2])),
            width: mean(&|row| days(printed(row)[2], printed(row)[0]) + 1.0),
        }
    }
}

/// One line a target and day made, on days as they are printed in mails.
pub(super) fn table(station: &str, rows: &[Hindsight]) -> String {
    let mut cells: Vec<(f64, u16)> = rows.iter().map(|row| (row.target, row.made_on)).collect();
    cells.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    cells.dedup();
    let mut table = plain_table([
        "target °F-days",
        "made, days after start",
        "seasons",
        "mean error, days",
        "bias, days",
        "range, days",
        "inside",
        "before it",
        "after it",
    ]);
    for (target, made_on) in cells {
        let of_cell = |row: &&Hindsight| row.target == target && row.made_on == made_on;
        let score = Score::of(&rows.iter().filter(of_cell).collect::<Vec<_>>());
        let percent = |share: f64| format!("{:.0} %", share * 100.0);
        table.add_row([
            target.to_string(),
            made_on.to_string(),
            score.seasons.to_string(),
            format!("{:.1}", score.error),
            format!("{:+.1}", score.bias),
            format!("{:.1}", score.width),
            percent(1.0 - score.early - score.late),
            percent(score.early),
            percent(score.late),
        ]);
    }
    let mut years: Vec<i32> = rows.iter().map(|row| row.year).collect();
    years.dedup();
    let span = match (years.first(), years.last()) {
        (Some(first), Some(last)) => format!("{first} to {last}"),
        _ => "no season has ten earlier years and a truth to compare with".to_owned(),
    };
    format!("{station}, {span}\n{table}\nBias: above zero means projected later than it came.\n")
}
