//! Who asks, and how: the word of a trusted proxy counts, and nobody else's.

use std::net::IpAddr;

use axum::http::HeaderMap;

use crate::page::peer::Peer;

const FORWARDED_FOR: &str = "x-forwarded-for";
const FORWARDED_PROTO: &str = "x-forwarded-proto";
/// Headers with which proxies say that they are there.
const OF_PROXIES: [&str; 4] = [FORWARDED_FOR, FORWARDED_PROTO, "forwarded", "via"];

/// Who asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Caller {
    /// Their address, as far as it is known for sure.
    pub(super) address: IpAddr,
    /// Whether what they send is protected on its way.
    pub(super) by_tls: bool,
    /// Whether a proxy handed the request on, by its own word or anybody's.
    by_proxy: bool,
}

impl Caller {
    /// Of a request that came over a connection.
    pub(super) fn new(peer: Peer, headers: &HeaderMap, trusted: &[IpAddr]) -> Self {
        let is_trusted = |address: &IpAddr| trusted.contains(address);
        let by_proxy = OF_PROXIES.iter().any(|name| headers.contains_key(*name));
        if !is_trusted(&peer.address) {
            return Self {
                address: peer.address,
                by_tls: peer.by_tls,
                by_proxy,
            };
        }
        // Each proxy adds whom it heard at the right: beyond the first who is not trusted anybody may have written it.
        let heard: Vec<&str> = words(headers, FORWARDED_FOR).collect();
        let mut address = peer.address;
        for word in heard.into_iter().rev() {
            let Ok(before) = word.parse::<IpAddr>() else {
                break;
            };
            address = before.to_canonical();
            if !is_trusted(&address) {
                break;
            }
        }
        let proto = words(headers, FORWARDED_PROTO).last();
        Self {
            address,
            by_tls: peer.by_tls || proto.is_some_and(|proto| proto.eq_ignore_ascii_case("https")),
            by_proxy,
        }
    }

    /// Whether nobody between them and us reads or changes what they send.
    pub(super) const fn is_protected(self) -> bool {
        self.by_tls || (self.address.is_loopback() && !self.by_proxy)
    }

    /// Whether they may come near at all, or why not.
    pub(super) fn may_ask(self, sign_in: bool) -> Result<(), &'static str> {
        if !sign_in && (!self.address.is_loopback() || self.by_proxy) {
            return Err(
                "This page needs no password, and is therefore shown on the machine itself alone.",
            );
        }
        if !self.by_tls && !is_private(self.address) {
            return Err(
                "This page is shown in the office network. From outside it is asked for by https, which it does not \
                 speak here.",
            );
        }
        Ok(())
    }
}

/// The words of a list that may stand in several headers.
fn words<'a>(headers: &'a HeaderMap, name: &str) -> impl Iterator<Item = &'a str> {
    let values = headers.get_all(name).iter();
    // What is no text is still somebody's word: it ends the list of those that can be believed.
    let lists = values.map(|value| value.to_str().unwrap_or("?"));
    lists.flat_map(|list| list.split(',')).map(str::trim)
}

/// Whether an address is of a network of one's own: RFC 1918, RFC 4193, of one link, or this machine.
fn is_private(address: IpAddr) -> bool {
    match address.to_canonical() {
        IpAddr::V4(ip) => ip.is_private() || ip.is_link_local() || ip.is_loopback(),
        IpAddr::V6(ip) => ip.is_unique_local() || ip.is_unicast_link_local() || ip.is_loopback(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    fn caller(peer: &str, headers: &[(&'static str, &str)], trusted: &[&str]) -> Caller {
        let peer = Peer {
            address: ip(peer),
            here: ip("192.168.7.4"),
            by_tls: false,
        };
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            map.append(*name, value.parse().unwrap());
        }
        let trusted: Vec<IpAddr> = trusted.iter().map(|text| ip(text)).collect();
        Caller::new(peer, &map, &trusted)
    }

    #[test]
    fn only_a_trusted_proxy_says_for_whom_it_asks() {
        let check = |peer, heard: &[&str], trusted: &[&str], expected: &str| {
            let headers: Vec<_> = heard.iter().map(|value| (FORWARDED_FOR, *value)).collect();
            let found = caller(peer, &headers, trusted).address;
            assert_eq!(found, ip(expected), "{peer} {heard:?} {trusted:?}");
        };
        let proxy = &["127.0.0.1"];
        check("192.168.7.9", &["10.0.0.1"], proxy, "192.168.7.9");
        check("127.0.0.1", &[], proxy, "127.0.0.1");
        check("127.0.0.1", &["192.168.7.9"], proxy, "192.168.7.9");
        // What somebody wrote before the proxy did is not believed.
        check(
            "127.0.0.1",
            &["10.0.0.1, 192.168.7.9"],
            proxy,
            "192.168.7.9",
        );
        check(
            "127.0.0.1",
            &["10.0.0.1", "192.168.7.9"],
            proxy,
            "192.168.7.9",
        );
        check("127.0.0.1", &["::ffff:192.168.7.9"], proxy, "192.168.7.9");
        let two = &["127.0.0.1", "10.0.0.2"];
        check(
            "127.0.0.1",
            &["1.2.3.4, 192.168.7.9, 10.0.0.2"],
            two,
            "192.168.7.9",
        );
        check("127.0.0.1", &["10.0.0.2"], two, "10.0.0.2");
        // What is no address says nothing of who stands before it.
        check("127.0.0.1", &["192.168.7.9, unknown"], proxy, "127.0.0.1");
        check("127.0.0.1", &[""], proxy, "127.0.0.1");
    }

    #[test]
    fn only_a_trusted_proxy_says_that_it_was_asked_by_https() {
        let check = |peer, proto: &str, expected| {
            let found = caller(peer, &[(FORWARDED_PROTO, proto)], &["127.0.0.1"]);
            assert_eq!(found.by_tls, expected, "{peer} {proto}");
        };
        check("127.0.0.1", "https", true);
        check("127.0.0.1", "HTTPS", true);
        check("127.0.0.1", "http", false);
        check("127.0.0.1", "https, http", false);
        check("192.168.7.9", "https", false);
    }

    #[test]
    fn whoever_is_not_of_a_network_of_ones_own_asks_by_tls_or_not_at_all() {
        let check = |address: &str, expected| {
            let mut caller = caller(address, &[], &[]);
            assert_eq!(caller.may_ask(true).is_ok(), expected, "{address}");
            caller.by_tls = true;
            assert!(caller.may_ask(true).is_ok(), "{address} by TLS");
        };
        for private in [
            "10.1.2.3",
            "172.16.0.1",
            "172.31.255.255",
            "192.168.0.1",
            "169.254.3.4",
            "127.0.0.1",
            "127.8.9.1",
            "::1",
            "fd00::1",
            "fc12::1",
            "fe80::1",
            "::ffff:10.0.0.1",
        ] {
            check(private, true);
        }
        for public in [
            "9.255.255.255",
            "11.0.0.1",
            "172.15.0.1",
            "172.32.0.1",
            "192.169.0.1",
            "100.64.0.1",
            "8.8.8.8",
            "2001:db8::1",
            "fec0::1",
            "::ffff:8.8.8.8",
            "0.0.0.0",
        ] {
            check(public, false);
        }
    }

    #[test]
    fn where_nobody_signs_in_only_the_machine_itself_asks_and_through_no_proxy() {
        let may = |peer, headers: &[_]| caller(peer, headers, &[]).may_ask(false).is_ok();
        assert!(may("127.0.0.1", &[]));
        assert!(may("::1", &[]));
        assert!(!may("192.168.7.9", &[]));
        for name in OF_PROXIES {
            assert!(!may("127.0.0.1", &[(name, "x")]), "{name}");
        }
    }
}
