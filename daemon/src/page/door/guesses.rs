//! How fast passwords and codes may be guessed: slower with each wrong try of one address, slower for all where many
//! are wrong, and never not at all.

use std::collections::BTreeMap;
use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::time::Instant;

/// Tries of one address before it has to wait.
const FREE: u32 = 4;
/// The longest wait of one address.
const LONGEST: Duration = Duration::from_secs(60);
/// An address that was quiet for so long begins anew.
const QUIET: Duration = Duration::from_secs(15 * 60);
/// The most addresses that are kept; beyond, the one that was quiet longest is forgotten.
const ADDRESSES: usize = 1024;
/// Wrong tries of all addresses together before each further one takes longer.
const FREE_OF_ALL: u32 = 30;
/// One of these is forgotten in so long.
const FORGOTTEN: Duration = Duration::from_secs(2);
/// How much longer a try takes then. They are taken one at a time.
const SLOWER: Duration = Duration::from_secs(1);

/// What was tried.
#[derive(Debug, Default)]
pub(super) struct Guesses(Mutex<Tried>);

#[derive(Debug, Default)]
struct Tried {
    by_address: BTreeMap<IpAddr, Tries>,
    all: Option<All>,
}

#[derive(Debug, Clone, Copy)]
struct Tries {
    count: u32,
    last: Instant,
    not_before: Instant,
}

#[derive(Debug, Clone, Copy)]
struct All {
    count: u32,
    since: Instant,
}

impl Guesses {
    /// Counts a try before it is looked at, so that many at once are counted, too. Gives how much longer it is to
    /// take, or how long the address has to wait before it may try again.
    pub(super) fn begin(&self, address: IpAddr, now: Instant) -> Result<Duration, Duration> {
        let mut tried = self.lock();
        let address = household(address);
        let before = tried.by_address.get(&address);
        let before = before.filter(|tries| now.duration_since(tries.last) < QUIET);
        let wait = before.map_or(Duration::ZERO, |tries| {
            tries.not_before.saturating_duration_since(now)
        });
        if !wait.is_zero() {
            return Err(wait);
        }
        let count = before.map_or(0, |tries| tries.count) + 1;
        let tries = Tries {
            count,
            last: now,
            not_before: now + delay(count),
        };
        tried.keep(address, tries);
        Ok(tried.all_begin(now))
    }

    /// A try that was begun was right: it counts no more.
    pub(super) fn was_right(&self, address: IpAddr, now: Instant) {
        let mut tried = self.lock();
        if let Some(tries) = tried.by_address.get_mut(&household(address)) {
            tries.count = tries.count.saturating_sub(1);
            tries.not_before = now;
        }
        if let Some(all) = &mut tried.all {
            all.count = all.count.saturating_sub(1);
        }
    }

    /// Nothing panics while it is held.
    fn lock(&self) -> MutexGuard<'_, Tried> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Tried {
    fn keep(&mut self, address: IpAddr, tries: Tries) {
        if self.by_address.len() >= ADDRESSES && !self.by_address.contains_key(&address) {
            let quiet = self.by_address.iter().min_by_key(|(_, tries)| tries.last);
            if let Some(quiet) = quiet.map(|(address, _)| *address) {
                self.by_address.remove(&quiet);
            }
        }
        self.by_address.insert(address, tries);
    }

    fn all_begin(&mut self, now: Instant) -> Duration {
        let all = self.all.get_or_insert(All {
            count: 0,
            since: now,
        });
        let passed = now.duration_since(all.since).as_secs() / FORGOTTEN.as_secs();
        let forgotten = u32::try_from(passed).unwrap_or(u32::MAX);
        if forgotten > 0 {
            *all = All {
                count: all.count.saturating_sub(forgotten),
                since: now,
            };
        }
        // What is beyond is forgotten soon once it ends.
        all.count = (all.count + 1).min(2 * FREE_OF_ALL);
        match all.count > FREE_OF_ALL {
            true => SLOWER,
            false => Duration::ZERO,
        }
    }
}

/// Nothing for the first ones, then a second, two, four, ….
fn delay(count: u32) -> Duration {
    match count.checked_sub(FREE) {
        None => Duration::ZERO,
        Some(more) => Duration::from_secs(1 << more.min(6)).min(LONGEST),
    }
}

/// Of IPv6, where one household has a whole network, its network counts.
fn household(address: IpAddr) -> IpAddr {
    match address {
        IpAddr::V6(ip) if !ip.is_loopback() => {
            let [a, b, c, d, ..] = ip.segments();
            Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0).into()
        }
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    /// Tries of an address in so many seconds, one after each tenth.
    fn let_through(guesses: &Guesses, address: &str, from: Instant, seconds: u64) -> usize {
        let tries = (0..seconds * 10).map(|tenth| from + Duration::from_millis(100 * tenth));
        tries
            .filter(|now| guesses.begin(ip(address), *now).is_ok())
            .count()
    }

    #[test]
    fn an_address_that_guesses_is_let_through_less_and_less_and_others_as_before() {
        let (guesses, start) = (Guesses::default(), Instant::now());
        let hour = let_through(&guesses, "192.168.7.9", start, 3600);
        assert!((60..75).contains(&hour), "{hour}");
        let later = start + Duration::from_secs(3600);
        assert_eq!(guesses.begin(ip("192.168.7.10"), later), Ok(Duration::ZERO));
        let quiet = later + QUIET;
        assert_eq!(guesses.begin(ip("192.168.7.9"), quiet), Ok(Duration::ZERO));
    }

    #[test]
    fn who_is_right_is_as_before_and_does_not_wipe_out_what_others_guessed_beside_them() {
        let (guesses, now) = (Guesses::default(), Instant::now());
        let address = ip("192.168.7.9");
        for _ in 0..100 {
            assert!(guesses.begin(address, now).is_ok());
            guesses.was_right(address, now);
        }
        // Somebody who can sign in does not guess faster for it.
        let mut wrong = 0;
        for second in 0..60 {
            let now = now + Duration::from_secs(second);
            wrong += usize::from(guesses.begin(address, now).is_ok());
            if guesses.begin(address, now).is_ok() {
                guesses.was_right(address, now);
            }
        }
        assert!(wrong < 12, "{wrong}");
    }

    #[test]
    fn many_addresses_slow_all_down_and_lock_nobody_out() {
        let (guesses, now) = (Guesses::default(), Instant::now());
        let begin = |number: u8, now| guesses.begin(IpAddr::from([10, 0, 0, number]), now);
        for number in 0..30 {
            assert_eq!(begin(number, now), Ok(Duration::ZERO));
        }
        for number in 30..200 {
            assert_eq!(begin(number, now), Ok(SLOWER));
        }
        assert_eq!(
            begin(250, now + Duration::from_secs(62)),
            Ok(Duration::ZERO)
        );
    }

    #[test]
    fn a_network_of_ipv6_counts_as_one_and_what_is_kept_is_bounded() {
        let (guesses, now) = (Guesses::default(), Instant::now());
        let waits = (0..9).map(|host| guesses.begin(ip(&format!("fd00::{host}")), now));
        assert_eq!(waits.filter(Result::is_err).count(), 5);
        for number in 0..5000_u32 {
            let _ = guesses.begin(IpAddr::from(number.to_be_bytes()), now);
        }
        assert_eq!(guesses.lock().by_address.len(), ADDRESSES);
    }
}
