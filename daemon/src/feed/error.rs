//! Why a feed gave no days.

use std::io;
use std::path::PathBuf;
use std::time::Duration;

use super::excerpt::Excerpt;
use super::get_error::GetError;
use super::row_problem::RowProblem;

/// A feed that could not be read at all. Each of them leaves what is stored untouched.
#[derive(Debug, thiserror::Error)]
pub enum FeedError {
    /// The address gave no answer with data.
    #[error(transparent)]
    Get(#[from] GetError),
    /// The table's file could not be read.
    #[error("read the station table {path}")]
    ReadFile {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The table's path is a folder, a pipe or the like.
    #[error("read the station table {path}: it is not a file")]
    NotAFile {
        /// The path.
        path: PathBuf,
    },
    /// The table's file is too large to be one station's days.
    #[error("read the station table {path}: it has {bytes} bytes and the most is {most}")]
    FileTooLarge {
        /// The file.
        path: PathBuf,
        /// Its size.
        bytes: u64,
        /// The limit.
        most: u64,
    },
    /// The feed wants a key, and none is there.
    #[error("there is no key for it; `duskflight check` says where it may stand")]
    NoKey,
    /// Something came, but it is not what the feed describes.
    #[error("read the days from {place}")]
    Parse {
        /// The file, or the address without its query.
        place: String,
        /// What is wrong with it.
        source: ParseError,
    },
}

impl FeedError {
    /// How long the server asked to be left alone.
    #[must_use]
    pub fn asked_wait(&self) -> Option<Duration> {
        match self {
            Self::Get(error) => error.asked_wait(),
            _ => None,
        }
    }

    /// Whether the host gave no answer at all.
    #[must_use]
    pub fn is_silence(&self) -> bool {
        matches!(self, Self::Get(error) if error.is_silence())
    }
}

/// An answer that is not what the feed describes.
#[derive(Debug, thiserror::Error)]
pub enum ParseError {
    /// There is nothing in it.
    #[error("the answer is empty")]
    Empty,
    /// A web page: a notice of maintenance, a log-in page, a proxy's refusal.
    #[error("a web page came instead of data: {answer}")]
    WebPage {
        /// Its beginning.
        answer: Excerpt,
    },
    /// The service answered with its own error.
    #[error("the service answered with an error: {message}")]
    Refused {
        /// The service's words.
        message: Excerpt,
    },
    /// The service answered about another station.
    #[error("the answer is about another station than {expected:?}: {}", listed(.found))]
    OtherStation {
        /// The station that was asked for.
        expected: String,
        /// The ids of the one in the answer.
        found: Vec<Excerpt>,
    },
    /// Other JSON than a list of station days, or no JSON.
    #[error("the answer is not a list of station days, it begins {answer}")]
    NotStationDays {
        /// Its beginning.
        answer: Excerpt,
        /// Where and why reading stopped.
        source: serde_json::Error,
    },
    /// The service answered about another place.
    #[error("the answer is about the place {}, {} and not about {}, {}", .found[0], .found[1], .expected[0], .expected[1])]
    OtherPlace {
        /// Latitude and longitude that were asked for.
        expected: [f64; 2],
        /// Those of the answer.
        found: [f64; 2],
    },
    /// The service answered in another unit than its own.
    #[error("the answer is in the unit {found} and not in {expected}")]
    OtherUnit {
        /// The service's unit.
        expected: &'static str,
        /// That of the answer.
        found: Excerpt,
    },
    /// The answer sends on to another host than the one that was asked, which might learn what is not its own.
    #[error("the answer sends on to {found} and not to {expected}")]
    OtherHost {
        /// The host that was asked.
        expected: String,
        /// The one that is named.
        found: Excerpt,
    },
    /// A forecast without the values that are needed of it.
    #[error("the forecast does not supply {layer}")]
    NotSupplied {
        /// What is missing.
        layer: &'static str,
    },
    /// The service answered with the days of another zone.
    #[error("the answer's days are those of {found} and not of {expected}")]
    OtherZone {
        /// The zone that was asked for.
        expected: &'static str,
        /// That of the answer.
        found: Excerpt,
    },
    /// Other text than a station's file of the form that was asked for.
    #[error("the answer is not a station file of the form {form:?}, it begins {answer}")]
    NotAStationFile {
        /// The form of the configuration.
        form: &'static str,
        /// Its beginning.
        answer: Excerpt,
    },
    /// A packed file that cannot be unpacked, or is too large then.
    #[error("unpack the answer")]
    NotUnpacked {
        /// What is wrong with it.
        source: io::Error,
    },
    /// A field that every answer has is in none of its days, and others are that were not asked for: it was renamed.
    #[error("no day has the field {field}; the fields are {}", listed(.found))]
    MissingField {
        /// The field.
        field: &'static str,
        /// Those that are there.
        found: Vec<Excerpt>,
    },
    /// The table has no such column.
    #[error("the table has no column {column:?}; its columns are {}", listed(.found))]
    MissingColumn {
        /// The column of the configuration.
        column: String,
        /// The table's columns.
        found: Vec<Excerpt>,
    },
    /// A column name that is needed stands twice in the header.
    #[error("the table has more than one column {column:?}")]
    ColumnTwice {
        /// The column of the configuration.
        column: String,
    },
    /// The configuration names one column for two things.
    #[error("column {column:?} is named for two different things")]
    SameColumn {
        /// The column of the configuration.
        column: String,
    },
    /// Dates cannot all be of the farm's order of month and day, so that none of them is sure.
    #[error(
        "row {row}: {value} in column {column:?}: {why}; say in date_format how dates are written there, such as \"%d/%m/%Y\""
    )]
    OtherDates {
        /// The line of the table.
        row: u64,
        /// The column of the date.
        column: String,
        /// What stands there.
        value: Excerpt,
        /// Why it is no date as the others are.
        why: String,
    },
    /// The text cannot be taken apart into fields.
    #[error("the table cannot be taken apart into fields")]
    NotATable {
        /// Where and why reading stopped.
        source: csv::Error,
    },
    /// So many rows are unusable that the configuration, or the table, must be wrong.
    #[error("more than {most} rows cannot be used; the first is {first}")]
    TooManyProblems {
        /// The limit.
        most: usize,
        /// The first of them.
        first: Box<RowProblem>,
    },
}

impl ParseError {
    /// An answer that could not be taken apart.
    pub(super) fn not_days(answer: &[u8], source: serde_json::Error) -> Self {
        Self::NotStationDays {
            answer: Excerpt::of_answer(answer),
            source,
        }
    }
}

fn listed(columns: &[Excerpt]) -> String {
    let names: Vec<String> = columns.iter().map(ToString::to_string).collect();
    names.join(", ")
}

/// The answer without a byte order mark, unless it is empty or a web page. The content type is
/// not asked: providers send pages under any.
pub(super) fn data_of(answer: &[u8]) -> Result<&[u8], ParseError> {
    let data = answer.strip_prefix(b"\xef\xbb\xbf").unwrap_or(answer);
    match data.trim_ascii_start().first() {
        None => Err(ParseError::Empty),
        Some(b'<') => Err(ParseError::WebPage {
            answer: Excerpt::of_answer(data),
        }),
        Some(_) => Ok(data),
    }
}
