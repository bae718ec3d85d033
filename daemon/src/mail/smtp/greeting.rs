//! The time in what a mail server says of itself: most give it in their greeting (RFC 5321, 4.2).

use chrono::{DateTime, Utc};

/// The words of a date: the weekday, which may be left out, day, month, year, time, and how far it is from UTC.
const WORDS: [usize; 2] = [6, 5];

/// The first date as mails write it (RFC 5322) in a server's words; `None` where there is none that one can read.
pub(super) fn date_in(text: &str) -> Option<DateTime<Utc>> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let dates = WORDS.iter().flat_map(|count| words.windows(*count));
    dates.into_iter().find_map(|words| {
        let date = words.join(" ");
        let date = date.trim_matches(|c: char| "()[]<>;.".contains(c));
        let date = DateTime::parse_from_rfc2822(date).ok()?;
        Some(date.with_timezone(&Utc))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_date_is_found_in_a_greeting_wherever_it_stands_and_nothing_else_is_taken_for_one() {
        let noon = DateTime::from_timestamp(1_655_726_400, 0);
        for greeting in [
            "mx.example ESMTP ready at Mon, 20 Jun 2022 12:00:00 +0000",
            "mx.example ESMTP 4.1 Mon, 20 Jun 2022 05:00:00 -0700",
            "mx.example Microservice at 20 Jun 2022 14:00:00 +0200; go ahead",
            "mx.example ready (Mon, 20 Jun 2022 12:00:00 GMT)",
        ] {
            assert_eq!(date_in(greeting), noon, "{greeting}");
        }
        for greeting in [
            "",
            "mx.example ESMTP Postfix",
            "mx.example ESMTP since Mon, 20 Jun 2022",
            "mx.example 20 Jun 2022 12:00:00",
        ] {
            assert_eq!(date_in(greeting), None, "{greeting}");
        }
    }
}
