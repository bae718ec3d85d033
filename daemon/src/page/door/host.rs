//! By which names the page may be asked for. A page of a stranger that has a name of its own point here (DNS rebinding)
//! asks by that name, and is refused before anything else.

use std::net::IpAddr;

use axum::http::header::HOST;
use axum::http::uri::Authority;
use axum::http::{HeaderMap, Uri};

use crate::tls::bare;

/// Names by which browsers may ask, in small letters.
#[derive(Debug)]
pub(super) struct Names(Vec<String>);

impl Names {
    /// The machine's own name, alone and in the local domain, and those declared.
    pub(super) fn new(declared: &[String]) -> Self {
        let machine = rustix::system::uname();
        let machine = machine.nodename().to_string_lossy().to_lowercase();
        let local = format!("{machine}.local");
        Self(
            [machine, local]
                .into_iter()
                .chain(declared.iter().cloned())
                .collect(),
        )
    }

    /// The host and port that were asked for, where one may ask by that: a name that is known, or the very address that
    /// the connection came to, which is `here`.
    pub(super) fn asked<'a>(
        &self,
        uri: &'a Uri,
        headers: &'a HeaderMap,
        here: IpAddr,
    ) -> Option<Authority> {
        let asked = authority(uri, headers)?;
        let host = bare(asked.host()).trim_end_matches('.').to_lowercase();
        let is_here = match host.parse::<IpAddr>() {
            Ok(address) => address.to_canonical() == here,
            Err(_) => host == "localhost" && here.is_loopback(),
        };
        (is_here || self.0.contains(&host)).then_some(asked)
    }
}

/// What was asked for: a whole address in the request line counts before the header, of which there is one.
fn authority(uri: &Uri, headers: &HeaderMap) -> Option<Authority> {
    let mut hosts = headers.get_all(HOST).iter();
    let (host, more) = (hosts.next()?, hosts.next());
    let header = host.to_str().ok()?.parse().ok().filter(|_| more.is_none());
    match uri.authority() {
        Some(authority) => Some(authority.clone()),
        None => header,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(hosts: &[&str], uri: &str, here: &str) -> bool {
        let names = Names::new(&["farm-office.local".to_owned(), "fd00::8".to_owned()]);
        let mut headers = HeaderMap::new();
        for host in hosts {
            headers.append(HOST, host.parse().unwrap());
        }
        let here = here.parse().unwrap();
        names.asked(&uri.parse().unwrap(), &headers, here).is_some()
    }

    #[test]
    fn only_known_names_and_the_address_that_was_come_to_are_asked_for() {
        let check = |host: &str, here: &str, expected: bool| {
            assert_eq!(asked(&[host], "/", here), expected, "{host} at {here}");
        };
        check("farm-office.local", "192.168.7.4", true);
        check("Farm-Office.LOCAL:8790", "192.168.7.4", true);
        check("farm-office.local.", "192.168.7.4", true);
        check("192.168.7.4:8790", "192.168.7.4", true);
        check("192.168.7.5:8790", "192.168.7.4", false);
        check("localhost:8790", "127.0.0.1", true);
        check("localhost:8790", "192.168.7.4", false);
        check("127.0.0.1", "192.168.7.4", false);
        check("[::1]:8790", "::1", true);
        check("[fd00::8]:8790", "fd00::7", true);
        for rebound in [
            "evil.example",
            "evil.example:8790",
            "farm-office.local.evil.example",
            "127.0.0.1.evil.example",
            "farm-office.local@evil.example",
            "",
            "a b",
        ] {
            check(rebound, "127.0.0.1", false);
        }
    }

    #[test]
    fn the_machine_is_known_by_its_own_name() {
        let machine = rustix::system::uname();
        let machine = machine.nodename().to_str().unwrap();
        assert!(asked(&[machine], "/", "192.168.7.4"));
        assert!(asked(&[&format!("{machine}.local:80")], "/", "192.168.7.4"));
    }

    #[test]
    fn a_whole_address_in_the_request_line_counts_and_of_two_hosts_neither() {
        assert!(!asked(&["localhost"], "http://evil.example/", "127.0.0.1"));
        assert!(asked(&["localhost"], "http://localhost/", "127.0.0.1"));
        assert!(!asked(&["localhost", "evil.example"], "/", "127.0.0.1"));
        assert!(!asked(&[], "/", "127.0.0.1"));
    }
}
