//! What stands in the addresses of pages.

use chrono::{Datelike, NaiveDate};
use serde::Deserialize;
use serde::de::DeserializeOwned;

use super::page_error::PageError;

/// Nobody read a trap before.
const FIRST_YEAR: i32 = 1900;

/// A day of the past.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct AsOf {
    /// As a browser's field for days writes it: YYYY-MM-DD; empty for the newest.
    #[serde(rename = "as-of")]
    as_of: String,
}

impl AsOf {
    /// The day, where one is asked for.
    ///
    /// # Errors
    /// It is none.
    pub(super) fn day(&self) -> Result<Option<NaiveDate>, PageError> {
        day(&self.as_of)
    }
}

/// What a form holds.
///
/// # Errors
/// It is no form of the page that it was sent to.
pub(super) fn form<T: DeserializeOwned>(body: &str) -> Result<T, PageError> {
    serde_urlencoded::from_str(body).map_err(|_| no_form())
}

/// What was sent is no form of the page that it was sent to.
pub(super) fn no_form() -> PageError {
    PageError::Asked("What was sent is no form of this page. Open it anew.".to_owned())
}

/// A day as it is written in an address or a form; `None` where nothing is.
///
/// # Errors
/// It is none, or none of a year that anybody writes with four digits.
pub(super) fn day(text: &str) -> Result<Option<NaiveDate>, PageError> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    let day: Option<NaiveDate> = text.parse().ok();
    let day = day.filter(|day| (FIRST_YEAR..=9999).contains(&day.year()));
    let no_day = || PageError::Asked(format!("{text:?} is no day; write it as 2022-06-20."));
    day.map(Some).ok_or_else(no_day)
}

/// What follows an address to keep looking from a day.
pub(super) fn as_of_query(day: Option<NaiveDate>) -> String {
    day.map_or_else(String::new, |day| format!("&as-of={day}"))
}
