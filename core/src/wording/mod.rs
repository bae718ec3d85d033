//! Every word that people read, made from causes and values: the same in mail, page and command line.

mod catch_up;
mod cause;
mod caution;
mod disruption;
mod earlier_years;
mod evidence;
mod exposure;
pub(crate) mod gather;
mod handbook;
mod last_read;
mod mail_kind;
pub(crate) mod moth_flights;
mod not_known;
mod odd_answer;
mod plausible;
mod rests_on;
mod revised;
mod risk;
pub(crate) mod sentence;
pub(crate) mod stations;
mod terms;
pub(crate) mod trap_plan;
mod two_splits;
mod undecided;
mod why;
pub(crate) mod words;
pub(crate) mod work;

pub use caution::{LOCAL_AUTHORITY, Region, caution};
pub use exposure::{ExposureRow, ExposureTable};
pub use gather::{Lines, trap_list};
pub use handbook::{Whose, YEAR, YearEntry};
pub use mail_kind::mail_kind_meaning;
pub use revised::RevisedDay;
pub use stations::StationView;
pub use words::{DateOrder, Words};
pub use work::plural;
