//! Numbers as spreadsheets write them: `1,234`, `1 234`, `12.0`, `3,5`. One that could be read in two ways
//! is not read.

/// What may stand before the decimals in a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Decimals {
    /// A point: commas part the fields.
    Point,
    /// A point or a comma: something else parts the fields.
    PointOrComma,
}

/// Why a text is no number.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum NoNumber {
    /// It is none.
    Unread,
    /// It is one of two.
    Unclear(String, String),
}

/// A whole number; `12.0` is one.
pub(super) fn whole(text: &str, decimals: Decimals) -> Result<u64, NoNumber> {
    // As nearly all are written.
    if let Ok(number) = text.parse() {
        return Ok(number);
    }
    let zeros = |read: &Read| read.fraction.bytes().all(|digit| digit == b'0');
    let mut read = readings(text, decimals);
    read.retain(zeros);
    for reading in &mut read {
        reading.fraction.clear();
    }
    only(read)?.whole.parse().map_err(|_| NoNumber::Unread)
}

/// Any number; a percent sign behind it says nothing new.
pub(super) fn any(text: &str, decimals: Decimals) -> Result<f64, NoNumber> {
    let text = text.strip_suffix('%').map_or(text, str::trim_end);
    let read = match only(readings(text, decimals)) {
        Ok(read) => format!("{}.{}", read.whole, read.fraction).parse(),
        Err(NoNumber::Unread) => text.parse(),
        Err(unclear) => return Err(unclear),
    };
    read.map_err(|_| NoNumber::Unread)
}

/// A number taken apart into digits.
#[derive(Debug, PartialEq, Eq)]
struct Read {
    whole: String,
    fraction: String,
}

fn only(read: Vec<Read>) -> Result<Read, NoNumber> {
    let mut read = read.into_iter();
    let Some(one) = read.next() else {
        return Err(NoNumber::Unread);
    };
    let words = |read: &Read| match read.fraction.as_str() {
        "" => read.whole.clone(),
        fraction => format!("{}.{fraction}", read.whole),
    };
    match read.next() {
        Some(other) if other != one => Err(NoNumber::Unclear(words(&one), words(&other))),
        _ => Ok(one),
    }
}

/// Every way in which a text is a number.
fn readings(text: &str, decimals: Decimals) -> Vec<Read> {
    let marks: &[(char, char)] = match decimals {
        Decimals::Point => &[('.', ',')],
        Decimals::PointOrComma => &[('.', ','), (',', '.')],
    };
    let read = |&(decimal, group): &(char, char)| {
        let (whole, fraction) = text.split_once(decimal).unwrap_or((text, ""));
        let fraction = is_digits(fraction).then(|| fraction.to_owned())?;
        let whole = ungrouped(whole, group)?;
        Some(Read { whole, fraction })
    };
    marks.iter().filter_map(read).collect()
}

/// The digits of a whole number whose thousands may be set apart by blanks or a mark.
fn ungrouped(text: &str, mark: char) -> Option<String> {
    let groups: Vec<&str> = match text.contains(mark) {
        true => text.split(mark).collect(),
        false => text.split(char::is_whitespace).collect(),
    };
    let (first, rest) = groups.split_first()?;
    let thousands =
        rest.is_empty() || first.len() <= 3 && rest.iter().all(|group| group.len() == 3);
    let digits = !first.is_empty() && groups.iter().all(|group| is_digits(group));
    (thousands && digits).then(|| groups.concat())
}

fn is_digits(text: &str) -> bool {
    text.bytes().all(|byte| byte.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_count_is_read_as_spreadsheets_write_it() {
        for decimals in [Decimals::Point, Decimals::PointOrComma] {
            for (text, number) in [
                ("0", 0),
                ("12", 12),
                ("12.0", 12),
                ("12.00", 12),
                ("1,234", 1234),
                ("1 234", 1234),
                ("1\u{a0}234", 1234),
                ("1\u{202f}234", 1234),
                ("1,234,567", 1_234_567),
            ] {
                assert_eq!(whole(text, decimals), Ok(number), "{text}");
            }
            for text in [
                "",
                "many",
                "-1",
                "12.5",
                "1,23",
                "1, 234",
                "12,34,567",
                "1234,567",
                "1E+03",
                ".",
                ",",
            ] {
                assert!(whole(text, decimals).is_err(), "{text}");
            }
        }
        assert_eq!(whole("12,0", Decimals::PointOrComma), Ok(12));
        assert_eq!(whole("1.234", Decimals::PointOrComma), Ok(1234));
        assert_eq!(whole("1.234", Decimals::Point), Err(NoNumber::Unread));
    }

    #[test]
    fn a_number_that_could_be_two_is_neither() {
        let unclear = NoNumber::Unclear("1000".to_owned(), "1".to_owned());
        assert_eq!(whole("1,000", Decimals::PointOrComma), Err(unclear));
        assert_eq!(whole("1,000", Decimals::Point), Ok(1000));
        let unclear = NoNumber::Unclear("1.234".to_owned(), "1234".to_owned());
        assert_eq!(any("1.234", Decimals::PointOrComma), Err(unclear));
        assert_eq!(any("1.234", Decimals::Point), Ok(1.234));
    }

    #[test]
    fn decimals_stand_behind_a_comma_where_no_comma_parts_the_fields() {
        let check = |text: &str, number: f64| {
            assert_eq!(any(text, Decimals::PointOrComma), Ok(number), "{text}");
        };
        check("3,5", 3.5);
        check("3.5", 3.5);
        check("1.234,5", 1234.5);
        check("12,5 %", 12.5);
        check("12%", 12.0);
        check(".5", 0.5);
        check("1e1", 10.0);
        assert_eq!(any("3,5", Decimals::Point), Err(NoNumber::Unread));
        assert_eq!(any("1,234.5", Decimals::Point), Ok(1234.5));
    }
}
