//! What the service's answers have in common.

use serde::Deserialize;
use serde::de::DeserializeOwned;

use crate::feed::HttpUrl;
use crate::feed::error::{ParseError, data_of};
use crate::feed::excerpt::Excerpt;

const SERVICE: &str = "https://api.weather.gov";

/// The service's address.
pub(super) fn service() -> HttpUrl {
    HttpUrl::new(SERVICE).expect("the service's address is a constant that a test reads")
}

/// The service's own error, should it come under a status of success.
#[derive(Deserialize)]
struct Problem {
    title: String,
    #[serde(default)]
    detail: String,
}

/// Reads an answer.
///
/// # Errors
/// [`ParseError`] when it is empty, a web page, the service's own error, or of another form.
pub(super) fn read<T: DeserializeOwned>(answer: &[u8]) -> Result<T, ParseError> {
    let data = data_of(answer)?;
    serde_json::from_slice(data).map_err(|source| match serde_json::from_slice(data) {
        Ok(Problem { title, detail }) => ParseError::Refused {
            message: Excerpt::of_answer(format!("{title}: {detail}").as_bytes()),
        },
        Err(_) => ParseError::not_days(data, source),
    })
}

/// What stands behind the prefix of a unit or a flag, which has changed over the years: `wmoUnit:degC`, `qc:V`.
pub(super) fn tail(code: &str) -> &str {
    code.rsplit(':').next().unwrap_or_default().trim()
}

/// A unit that is not the one that the service is known for is refused whole.
///
/// # Errors
/// [`ParseError::OtherUnit`].
pub(super) fn is_celsius(unit: &str) -> Result<(), ParseError> {
    match tail(unit) {
        "degC" => Ok(()),
        _ => Err(ParseError::OtherUnit {
            expected: "degC",
            found: Excerpt::of_cell(unit),
        }),
    }
}
