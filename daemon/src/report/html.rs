//! Pages of reports: contents filled into templates, with their styles and charts inside.

use askama::Template;
use duskflight_core::contents::{PublicCatch, PublicReport, PublicStart, SeasonReport};
use duskflight_core::wording::Words;

use super::ReportError;
use crate::chart::{self, svg};

#[derive(Template)]
#[template(path = "report/season.html")]
struct SeasonPage<'a> {
    report: &'a SeasonReport,
    chart_css: &'static str,
}

/// A grower's season.
pub(super) fn season(report: &SeasonReport) -> Result<String, ReportError> {
    let page = SeasonPage {
        report,
        chart_css: chart::CSS,
    };
    Ok(page.render()?)
}

#[derive(Template)]
#[template(path = "report/public.html")]
struct PublicPage<'a> {
    report: &'a PublicReport,
    words: Words,
    caution: &'a str,
}

/// Sites as anybody may see them.
pub(super) fn public(
    words: Words,
    report: &PublicReport,
    caution: &str,
) -> Result<String, ReportError> {
    let page = PublicPage {
        report,
        words,
        caution,
    };
    Ok(page.render()?)
}

impl PublicPage<'_> {
    fn week(&self) -> String {
        let [from, to] = self.report.week;
        format!("{} {}", self.words.stretch(from, to), to.format("%Y"))
    }

    /// What was caught a trap and night; a dash where nothing was read.
    fn rate(&self, rate: Option<f64>) -> String {
        rate.map_or_else(|| "–".to_owned(), |rate| format!("{rate:.2}"))
    }

    fn counted(&self, catch: &PublicCatch) -> &'static str {
        catch.season.counted.words(2)
    }

    fn start(&self, start: &PublicStart) -> String {
        let status = start.status.words();
        match start.day {
            Some(day) => format!("{} ({status})", self.words.day(day)),
            None => status.to_owned(),
        }
    }

    fn within(&self, start: &PublicStart) -> String {
        let days = start.within.filter(|[first, last]| first < last);
        days.map_or_else(String::new, |[first, last]| self.words.stretch(first, last))
    }
}
