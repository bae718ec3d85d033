//! What the clocks of the hosts say that answer: each answer of HTTP has a date.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, TimeDelta, Utc};
use reqwest::header::{AGE, DATE, HeaderMap};

use crate::clock::{self, Clock};

/// What a host said is carried on by the machine's uptime for so long.
const HEEDED_FOR: TimeDelta = TimeDelta::days(3);
/// Names of the own network end so.
const NEAR: [&str; 5] = [".local", ".lan", ".home", ".internal", ".home.arpa"];

/// The newest date that each host said. A host of the own network is not heeded: its clock may be this one, or a
/// logger's that nobody sets.
#[derive(Debug)]
pub struct Heard {
    clock: Arc<dyn Clock>,
    /// The date, and how long the machine had been up then.
    dates: Mutex<BTreeMap<String, (DateTime<Utc>, TimeDelta)>>,
}

impl Default for Heard {
    fn default() -> Self {
        Self::by(clock::system())
    }
}

impl Heard {
    /// Nothing is heard yet. `clock`: whose uptime carries dates on.
    #[must_use]
    pub fn by(clock: Arc<dyn Clock>) -> Self {
        Self {
            clock,
            dates: Mutex::default(),
        }
    }

    /// Whether the date of a host is heeded.
    #[must_use]
    pub fn heeds(host: &str) -> bool {
        !is_near(host)
    }

    /// Notes the date of an answer; a cache says how long ago it was.
    pub(super) fn note(&self, host: &str, headers: &HeaderMap) {
        let text = |name| headers.get(name).and_then(|value| value.to_str().ok());
        let date = text(DATE.as_str()).and_then(|date| httpdate::parse_http_date(date).ok());
        let Some(date) = date.filter(|_| Self::heeds(host)) else {
            return;
        };
        let age = text(AGE.as_str()).and_then(|age| age.parse::<u32>().ok());
        let date = DateTime::from(date) + TimeDelta::seconds(age.unwrap_or(0).into());
        self.hear(host, date);
    }

    /// A host says that it is so late now.
    pub(crate) fn hear(&self, host: &str, says: DateTime<Utc>) {
        let mut dates = self.dates.lock().unwrap_or_else(PoisonError::into_inner);
        dates.insert(host.to_owned(), (says, self.clock.uptime()));
    }

    /// What each host would say when the machine has been up for so long.
    #[must_use]
    pub fn say_at(&self, uptime: TimeDelta) -> Vec<(String, DateTime<Utc>)> {
        let dates = self.dates.lock().unwrap_or_else(PoisonError::into_inner);
        let since = |then: TimeDelta| uptime - then;
        let heeded = dates
            .iter()
            .filter(|(_, (_, then))| since(*then) <= HEEDED_FOR);
        heeded
            .map(|(host, (date, then))| (host.clone(), *date + since(*then)))
            .collect()
    }
}

fn is_near(host: &str) -> bool {
    let address = host.trim_matches(['[', ']']).parse();
    match address {
        Ok(IpAddr::V4(v4)) => v4.is_loopback() || v4.is_private() || v4.is_link_local(),
        Ok(IpAddr::V6(v6)) => {
            v6.is_loopback() || v6.is_unique_local() || v6.is_unicast_link_local()
        }
        Err(_) => !host.contains('.') || NEAR.iter().any(|ending| host.ends_with(ending)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::SetClock;

    fn headers(date: &str, age: Option<&str>) -> HeaderMap {
        let mut headers = HeaderMap::new();
        headers.insert(DATE, date.parse().unwrap());
        headers.extend(age.map(|age| (AGE, age.parse().unwrap())));
        headers
    }

    #[test]
    fn what_a_host_said_goes_on_with_the_uptime_whatever_the_clock_is_set_to() {
        let at: DateTime<Utc> = "2022-06-20T12:00:00Z".parse().unwrap();
        let clock = Arc::new(SetClock::at(at));
        let heard = Heard::by(Arc::clone(&clock) as Arc<dyn Clock>);
        heard.note(
            "feed.example",
            &headers("Mon, 20 Jun 2022 11:59:00 GMT", Some("60")),
        );
        heard.note("feed.example", &headers("yesterday", None));
        clock.make_wrong_by(TimeDelta::days(3650));
        clock.pass_to(at + TimeDelta::hours(1));
        let said = heard.say_at(clock.uptime());
        assert_eq!(
            said,
            [("feed.example".to_owned(), at + TimeDelta::hours(1))]
        );
        assert_eq!(heard.say_at(clock.uptime() + TimeDelta::days(4)), []);
    }

    #[test]
    fn a_host_of_the_own_network_is_no_witness() {
        for near in [
            "127.0.0.1",
            "192.168.1.7",
            "[::1]",
            "logger",
            "logger.lan",
            "10.0.0.2",
        ] {
            assert!(is_near(near), "{near}");
        }
        assert!(!is_near("feed.example") && !is_near("198.51.100.7"));
        let heard = Heard::default();
        heard.note(
            "logger.lan",
            &headers("Mon, 20 Jun 2022 11:59:00 GMT", None),
        );
        assert_eq!(heard.say_at(TimeDelta::zero()), []);
    }
}
