//! What an extension office may show: a page and two tables of sites whose growers agreed.

use chrono::NaiveDate;
use duskflight_core::contents::{PublicReport, PublicSite};
use duskflight_core::trapping::Catch;
use duskflight_core::wording::caution;

use super::{ReportError, Season, html};
use crate::config::Config;
use crate::one_line::one_line;
use crate::sheet::csv_text;

/// The page and the tables.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PublicFiles {
    /// The page.
    pub page: String,
    /// Catches of the newest week and of the season, CSV.
    pub catches: String,
    /// Starts by site and year, CSV.
    pub starts: String,
}

const CATCHES: [&str; 14] = [
    "site",
    "crop",
    "regime",
    "trap_kind",
    "counted",
    "week_from_date",
    "week_to_date",
    "week_traps_read",
    "week_count",
    "week_trap_nights",
    "week_per_trap_night",
    "season_count",
    "season_trap_nights",
    "season_per_trap_night",
];

const STARTS: [&str; 6] = [
    "site",
    "year",
    "start_date",
    "start_status",
    "earliest_date",
    "latest_date",
];

/// What anybody may see; `None` where no block has a public name.
///
/// # Errors
/// [`ReportError`].
pub fn public(season: &Season, config: &Config) -> Result<Option<PublicFiles>, ReportError> {
    let report = season.public(config);
    if report.sites.is_empty() {
        return Ok(None);
    }
    Ok(Some(PublicFiles {
        page: html::public(config.words, &report, &caution(&config.authority))?,
        catches: catches(&report),
        starts: starts(&report),
    }))
}

fn catches(report: &PublicReport) -> String {
    let of_site = |site: &PublicSite| {
        let [from, to] = report.week.map(|day| day.to_string());
        let site_cells = [
            text_cell(&site.name),
            site.crop.to_string(),
            site.regime.to_string(),
        ];
        let rows = site.catches.iter().map(move |of| {
            let kind = [
                of.season.kind.name().to_owned(),
                of.season.counted.words(2).to_owned(),
                from.clone(),
                to.clone(),
                of.week.traps_read.to_string(),
            ];
            let cells = site_cells.iter().cloned().chain(kind);
            let cells = cells.chain(numbers(&of.week)).chain(numbers(&of.season));
            cells.collect::<Vec<String>>()
        });
        rows.collect::<Vec<_>>()
    };
    csv_text(CATCHES, report.sites.iter().flat_map(of_site))
}

/// The count, its trap-nights and the rate; empty where nothing was read, which is not zero.
fn numbers(catch: &Catch) -> [String; 3] {
    match catch.per_trap_night() {
        Some(rate) => [
            catch.count.to_string(),
            catch.trap_nights.to_string(),
            format!("{rate:.3}"),
        ],
        None => Default::default(),
    }
}

fn starts(report: &PublicReport) -> String {
    let day = |day: Option<NaiveDate>| day.map_or_else(String::new, |day| day.to_string());
    let rows = report.starts.iter().map(|start| {
        let [first, last] = match start.within {
            Some([first, last]) => [Some(first), Some(last)],
            None => [None; 2],
        };
        [
            text_cell(&start.site),
            start.year.to_string(),
            day(start.day),
            start.status.name().to_owned(),
            day(first),
            day(last),
        ]
    });
    csv_text(STARTS, rows)
}

/// What people typed as a cell: what a spreadsheet would take for a formula gets an apostrophe before it.
fn text_cell(text: &str) -> String {
    let formula = text.starts_with(['=', '+', '-', '−', '@', '\t', '\r']);
    let text = one_line(text);
    if formula { format!("'{text}") } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_no_formula() {
        for (name, expected) in [
            ("=HYPERLINK(1)", "'=HYPERLINK(1)"),
            ("+1", "'+1"),
            ("-1", "'-1"),
            ("−1", "'−1"),
            ("@SUM", "'@SUM"),
            ("\tx", "' x"),
            ("\rx", "' x"),
            ("Valley floor 3 = best", "Valley floor 3 = best"),
        ] {
            assert_eq!(text_cell(name), expected);
        }
    }
}
