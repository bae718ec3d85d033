//! Days as people and spreadsheets write them. The order of month and day is the farm's; it is never guessed
//! from the days themselves, and a table that contradicts it is not read.

use std::cell::OnceCell;
use std::fmt;

use chrono::{Datelike, NaiveDate, NaiveTime};
use duskflight_core::wording::DateOrder;

/// What may stand between day, month and year.
const MARKS: [char; 3] = ['/', '.', '-'];
/// Times of day that a spreadsheet writes behind a day.
const TIMES: [&str; 5] = [
    "%H:%M:%S%.f",
    "%H:%M",
    "%I:%M:%S %p",
    "%I:%M %p",
    "%H:%M:%S%.fZ",
];

/// The days of one table: `2022-03-17` always, `3/17/2022` where the farm's order settles it and all such
/// days are written alike.
#[derive(Debug)]
pub(crate) struct Dates {
    order: DateOrder,
    /// Whether they are of a record that may reach back to another century, and that may have a row for each hour.
    is_long_record: bool,
    /// How the first day that needed the order is written.
    first: OnceCell<(Form, String)>,
}

/// How a day is written whose order must be known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Form {
    mark: char,
    short_year: bool,
}

/// Why a text is no day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum BadDay {
    /// No day is seen in it.
    Unread,
    /// The farm's order makes no day of it.
    OtherOrder(DateOrder),
    /// The first such day of the table is written otherwise.
    OtherForm(String),
}

impl Dates {
    /// Days of what people wrote down lately: years of two digits are of this century, and a time of day behind a day is
    /// left out.
    pub(crate) fn new(order: DateOrder) -> Self {
        Self {
            order,
            is_long_record: false,
            first: OnceCell::new(),
        }
    }

    /// Days of long records: neither years of two digits nor times of day are read.
    pub(crate) fn of_long_record(order: DateOrder) -> Self {
        Self {
            is_long_record: true,
            ..Self::new(order)
        }
    }

    /// Reads a day.
    pub(crate) fn read(&self, text: &str) -> Result<NaiveDate, BadDay> {
        let text = match self.is_long_record {
            true => text.trim(),
            false => without_time(text.trim()),
        };
        let (parts, mark) = parts(text).ok_or(BadDay::Unread)?;
        let [one, two, three] = parts;
        if one.len() == 4 {
            return day(one, two, three).ok_or(BadDay::Unread);
        }
        let form = Form {
            mark,
            short_year: three.len() == 2,
        };
        let readable = match three.len() {
            2 => !self.is_long_record,
            4 => true,
            _ => false,
        };
        if !readable || one.len() > 2 || two.len() > 2 {
            return Err(BadDay::Unread);
        }
        let (month, dom, turned) = match self.order {
            DateOrder::MonthDay => (one, two, (two, one)),
            DateOrder::DayMonth => (two, one, (one, two)),
            DateOrder::Iso => return Err(BadDay::Unread),
        };
        let century = if form.short_year { "20" } else { "" };
        let year = format!("{century}{three}");
        let Some(read) = day(&year, month, dom) else {
            let other = day(&year, turned.0, turned.1);
            return Err(other.map_or(BadDay::Unread, |_| BadDay::OtherOrder(self.order)));
        };
        let (first, example) = self.first.get_or_init(|| (form, text.to_owned()));
        match *first == form {
            true => Ok(read),
            false => Err(BadDay::OtherForm(example.clone())),
        }
    }

    /// How days that needed the order were read, where there were any.
    pub(crate) fn remark(&self) -> Option<String> {
        let (_, example) = self.first.get()?;
        let order = order_words(self.order);
        Some(format!("days such as {example} read as {order}"))
    }
}

impl fmt::Display for BadDay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unread => f.write_str("it is no day"),
            Self::OtherOrder(order) => {
                let order = order_words(*order);
                write!(f, "the farm's date_order reads {order}, which is no day")
            }
            Self::OtherForm(example) => write!(f, "an earlier day is written as {example}"),
        }
    }
}

const fn order_words(order: DateOrder) -> &'static str {
    match order {
        DateOrder::MonthDay => "month, day, year",
        DateOrder::DayMonth => "day, month, year",
        DateOrder::Iso => "year, month, day",
    }
}

/// Three numbers with one kind of mark between them.
fn parts(text: &str) -> Option<([&str; 3], char)> {
    let mark = text.chars().find(|c| MARKS.contains(c))?;
    let mut parts = text.split(mark);
    let three = [parts.next()?, parts.next()?, parts.next()?];
    let digits = |part: &&str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    (parts.next().is_none() && three.iter().all(digits)).then_some((three, mark))
}

fn day(year: &str, month: &str, day: &str) -> Option<NaiveDate> {
    let read = NaiveDate::from_ymd_opt(year.parse().ok()?, month.parse().ok()?, day.parse().ok()?);
    // A year of the first thousand is a slip.
    read.filter(|day| day.year() >= 1000)
}

fn without_time(text: &str) -> &str {
    let Some((day, time)) = text.split_once([' ', 'T']) else {
        return text;
    };
    let is_time = |form: &&str| NaiveTime::parse_from_str(time.trim(), form).is_ok();
    match TIMES.iter().any(is_time) {
        true => day,
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(order: DateOrder, text: &str) -> Result<String, BadDay> {
        Dates::new(order).read(text).map(|day| day.to_string())
    }

    #[test]
    fn the_farms_order_settles_what_the_digits_leave_open() {
        use DateOrder::{DayMonth, MonthDay};
        for (order, text) in [
            (MonthDay, "3/4/2022"),
            (MonthDay, "03-04-22"),
            (MonthDay, "3/4/2022 0:00"),
            (MonthDay, "3/4/2022 2:30 PM"),
            (DayMonth, "4.3.2022"),
            (DayMonth, "04/03/22"),
            (MonthDay, "2022-03-04"),
            (DayMonth, "2022/3/4"),
            (DayMonth, "2022-03-04T00:00:00"),
        ] {
            assert_eq!(read(order, text).as_deref(), Ok("2022-03-04"), "{text}");
        }
        assert_eq!(
            read(MonthDay, "17/3/2022"),
            Err(BadDay::OtherOrder(MonthDay))
        );
        assert_eq!(
            read(DayMonth, "3/17/2022"),
            Err(BadDay::OtherOrder(DayMonth))
        );
        assert_eq!(read(MonthDay, "3/4/99").as_deref(), Ok("2099-03-04"));
    }

    #[test]
    fn what_is_no_day_in_any_order_is_none() {
        for text in [
            "",
            "2022-13-01",
            "13/13/2022",
            "3/4",
            "3/4/202",
            "3/4/2022/5",
            "3-4/2022",
            "44637",
            "0022-03-04",
            "3/4/2022 noon",
            "March 4",
            "٣/٤/2022",
            "-3/4/2022",
        ] {
            assert_eq!(
                read(DateOrder::MonthDay, text),
                Err(BadDay::Unread),
                "{text}"
            );
        }
        // Programs' own days, and tables older than this century.
        assert_eq!(read(DateOrder::Iso, "3/4/2022"), Err(BadDay::Unread));
        let long = Dates::of_long_record(DateOrder::MonthDay);
        assert_eq!(long.read("3/4/85"), Err(BadDay::Unread));
        assert_eq!(long.read("2022-03-04 06:00"), Err(BadDay::Unread));
        assert!(long.read("3/4/1985").is_ok());
    }

    #[test]
    fn days_of_one_table_are_written_alike_and_iso_may_stand_between_them() {
        let dates = Dates::new(DateOrder::MonthDay);
        assert_eq!(dates.remark(), None);
        assert!(dates.read("2022-03-17").is_ok());
        assert!(dates.read("3/17/2022").is_ok());
        assert!(dates.read("2022-03-18").is_ok());
        let other = Err(BadDay::OtherForm("3/17/2022".to_owned()));
        assert_eq!(dates.read("3-18-2022"), other);
        assert_eq!(dates.read("3/18/22"), other);
        let said = "days such as 3/17/2022 read as month, day, year";
        assert_eq!(dates.remark().as_deref(), Some(said));
    }
}
