//! Years in several zones by a clock that goes astray every few days: one telling and one digest for each civil day
//! that is owed, none twice, none of a day to come, and the daemon at work again within a day by itself.

use std::collections::BTreeSet;

use chrono::Days;

use super::driven::Driven;
use super::*;
use crate::clock::at_local;

/// When the loop looks at a day, in minutes from the hour of its digest.
const LOOKS: [i64; 3] = [-100, 5, 400];
/// When it does on a day on which the clock goes astray, and on the two after it.
const CLOSER_LOOKS: [i64; 7] = [-180, -100, -30, 5, 60, 180, 400];
/// Something befalls the clock every so many days, and on each day of a time change.
const EVERY_DAYS: i64 = 5;

/// What befalls the clock.
#[derive(Debug, Clone, Copy)]
enum What {
    WrongBy(TimeDelta),
    Asleep(TimeDelta),
}

/// After what of the day's work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    BeforeFetch,
    BeforeTelling,
    BeforeDelivery,
    Idle,
}

/// When two hosts say what time it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Network {
    /// At each look.
    Up,
    /// Not before the clock has been right for a while.
    Late,
    /// Never, and not in the days before.
    Down,
}

/// One fault of many.
#[derive(Debug, Clone, Copy)]
struct Fault {
    what: What,
    stage: Stage,
    network: Network,
    /// For so long the clock is wrong.
    lasts: TimeDelta,
    /// The power goes with it, so that the daemon wakes with a wrong clock.
    starts_anew: bool,
}

impl Fault {
    /// The faults in an order of their own for each zone.
    fn of_place(place: usize) -> Self {
        const STAGES: [Stage; 4] = [
            Stage::BeforeFetch,
            Stage::BeforeTelling,
            Stage::BeforeDelivery,
            Stage::Idle,
        ];
        let whats = [
            What::WrongBy(TimeDelta::hours(1)),
            What::WrongBy(TimeDelta::hours(-1)),
            What::WrongBy(TimeDelta::days(-400)),
            What::WrongBy(TimeDelta::days(365)),
            What::WrongBy(TimeDelta::days(3652)),
            What::Asleep(TimeDelta::days(9)),
        ];
        let mut rest = place * 133 % 288;
        let mut one_of = |count: usize| {
            let one = rest % count;
            rest /= count;
            one
        };
        Self {
            what: whats[one_of(6)],
            stage: STAGES[one_of(4)],
            network: [Network::Up, Network::Late, Network::Down][one_of(3)],
            lasts: [TimeDelta::minutes(10), TimeDelta::hours(20)][one_of(2)],
            starts_anew: one_of(2) == 1,
        }
    }
}

struct Years {
    driven: Driven,
    network: Network,
    /// From when on the daemon must be at work.
    works_from: DateTime<Utc>,
    /// Days that must be told.
    owed: BTreeSet<NaiveDate>,
    /// Days that may be told, too.
    may_be: BTreeSet<NaiveDate>,
}

impl Years {
    fn from(first: NaiveDate, zone: &str) -> Self {
        let driven = Driven::new(first, zone);
        Self {
            works_from: driven.farm.clock.truth(),
            driven,
            network: Network::Up,
            owed: BTreeSet::new(),
            may_be: BTreeSet::new(),
        }
    }

    /// Drives days up to one, without it. `place`: of the first fault.
    async fn drive(&mut self, last: NaiveDate, mut place: usize) {
        let (mut since, mut newest) = (0, None);
        while self.driven.today() < last {
            let today = self.driven.today();
            let is_time = since >= EVERY_DAYS || self.has_time_change(today);
            let fault = is_time.then(|| Fault::of_place(place));
            if fault.is_some() {
                (place, since) = (place + 1, 0);
            }
            self.network = Fault::of_place(place).network;
            if let Some(fault) = fault {
                (self.network, newest) = (fault.network, Some((today, fault)));
            }
            self.day(today, fault, since <= 2).await;
            since += 1;
            self.is_told_right(&format!("{today} after {newest:?}"))
                .await;
            // The next day begins, wherever a sleep has led.
            let next = self.driven.today().max(today + Days::new(1));
            let begins = at_local(self.driven.config().zone, next, chrono::NaiveTime::MIN);
            if begins > self.driven.farm.clock.truth() {
                self.driven.farm.clock.pass_to(begins);
            }
        }
    }

    fn has_time_change(&self, day: NaiveDate) -> bool {
        let begins = |day| at_local(self.driven.config().zone, day, chrono::NaiveTime::MIN);
        begins(day + Days::new(1)) - begins(day) != TimeDelta::days(1)
    }

    async fn day(&mut self, day: NaiveDate, fault: Option<Fault>, closely: bool) {
        let digest = self.driven.config().digest_instant(day);
        let looks: &[i64] = if closely { &CLOSER_LOOKS } else { &LOOKS };
        for minutes in looks {
            let at = digest + TimeDelta::minutes(*minutes);
            if at < self.driven.farm.clock.truth() {
                continue;
            }
            let at_stage = |fault: &Fault| match fault.stage {
                Stage::BeforeFetch => *minutes == -180,
                Stage::BeforeTelling => *minutes == -30,
                Stage::BeforeDelivery => *minutes == 5,
                Stage::Idle => *minutes == 60,
            };
            let fault = fault.filter(at_stage);
            if fault.is_some_and(|fault| fault.stage == Stage::BeforeDelivery) {
                self.driven.farm.clock.pass_to(at);
                self.driven.look().await;
            } else {
                self.pass_to(at).await;
            }
            if let Some(fault) = fault {
                self.suffer(fault).await;
            }
        }
    }

    async fn suffer(&mut self, fault: Fault) {
        let began = self.driven.farm.clock.truth();
        if fault.starts_anew {
            self.driven.starts_anew();
        }
        match fault.what {
            What::Asleep(long) => self.works_from = began + long,
            What::WrongBy(error) => {
                self.driven.farm.clock.make_wrong_by(error);
                self.works_from = DateTime::<Utc>::MAX_UTC;
                for minutes in [0, 1, 8, 10, 60, 240, 600, 1200] {
                    if TimeDelta::minutes(minutes) <= fault.lasts {
                        self.pass_to(began + TimeDelta::minutes(minutes)).await;
                    }
                }
                self.driven.farm.clock.make_wrong_by(TimeDelta::zero());
                let right = self.driven.farm.clock.truth();
                let after = match fault.network {
                    Network::Up => TimeDelta::minutes(5),
                    Network::Late => TimeDelta::minutes(30),
                    Network::Down => TimeDelta::days(1),
                };
                self.works_from = right + after;
                self.pass_to(right + TimeDelta::minutes(1)).await;
            }
        }
        if let What::Asleep(long) = fault.what {
            self.pass_to(began + long).await;
        }
        for minutes in [6, 25, 31] {
            let at = self.driven.farm.clock.truth() + TimeDelta::minutes(minutes);
            if minutes >= 25 && fault.network == Network::Late {
                self.network = Network::Up;
            }
            self.pass_to(at).await;
        }
    }

    /// Works off what is due, and counts what is owed then.
    async fn pass_to(&mut self, at: DateTime<Utc>) {
        self.driven.farm.clock.pass_to(at);
        if self.network == Network::Up {
            self.driven.hear();
        }
        self.driven.pass_to(at).await;
        let today = self.driven.today();
        self.may_be.insert(today);
        if at >= self.works_from && at >= self.driven.config().digest_instant(today) {
            self.owed.insert(today);
        }
    }

    /// Each day that is owed is told once and has one digest, and none that is not; no mail has left but those. Looks
    /// back for as long as runs are kept.
    async fn is_told_right(&self, what: &str) {
        const TOLD: &str =
            "SELECT day FROM job_run WHERE job = 'tell' AND state = 'done' ORDER BY day";
        const SENT: &str =
            "SELECT day FROM outbox WHERE kind = 'digest' AND state = 'sent' ORDER BY day";
        let since = self.driven.today() - Days::new(300);
        let lately = |day: &NaiveDate| *day >= since;
        let mut told = self.driven.days_of(TOLD).await;
        told.retain(lately);
        assert!(told.is_sorted_by(|a, b| a < b), "{what}");
        let mut sent = self.driven.days_of(SENT).await;
        sent.retain(lately);
        assert_eq!(sent, told, "digests, {what}");
        let told: BTreeSet<NaiveDate> = told.into_iter().collect();
        let owed = self.owed.iter().filter(|day| lately(day));
        let missing: Vec<_> = owed.filter(|day| !told.contains(day)).collect();
        let doubts = self.driven.texts_of("SELECT why FROM clock_doubt").await;
        assert!(
            missing.is_empty(),
            "not told {missing:?}, {what}, {doubts:?}"
        );
        let more: Vec<_> = told.difference(&self.may_be).collect();
        assert!(more.is_empty(), "told {more:?}, {what}");
        let mails = fs::read_dir(self.driven.farm.file("mail")).map_or(0, Iterator::count);
        let known = "SELECT message_id FROM outbox WHERE state = 'sent'";
        let known = self.driven.texts_of(known).await.len();
        assert_eq!(mails, known, "mails that left, {what}");
    }
}

async fn drive(years: u32, zone: &str, place: usize) {
    let day = |year| NaiveDate::from_ymd_opt(year, 1, 3).unwrap();
    let mut driven = Years::from(day(2022), zone);
    driven
        .drive(day(2022 + i32::try_from(years).unwrap()), place)
        .await;
}

#[tokio::test]
async fn weeks_around_a_time_change_by_a_clock_that_goes_astray_are_told_day_by_day() {
    let day = |month, day| NaiveDate::from_ymd_opt(2022, month, day).unwrap();
    let mut driven = Years::from(day(3, 5), "Europe/Madrid");
    driven.drive(day(4, 5), 7).await;
}

#[tokio::test]
#[ignore = "takes minutes"]
async fn three_years_in_california_by_a_clock_that_goes_astray_are_told_day_by_day() {
    drive(3, "America/Los_Angeles", 0).await;
}

#[tokio::test]
#[ignore = "takes minutes"]
async fn a_year_in_adelaide_by_a_clock_that_goes_astray_is_told_day_by_day() {
    drive(1, "Australia/Adelaide", 58).await;
}

#[tokio::test]
#[ignore = "takes minutes"]
async fn a_year_in_madrid_by_a_clock_that_goes_astray_is_told_day_by_day() {
    drive(1, "Europe/Madrid", 116).await;
}

#[tokio::test]
#[ignore = "takes minutes"]
async fn a_year_in_kathmandu_by_a_clock_that_goes_astray_is_told_day_by_day() {
    drive(1, "Asia/Kathmandu", 174).await;
}

#[tokio::test]
#[ignore = "takes minutes"]
async fn a_year_in_utc_by_a_clock_that_goes_astray_is_told_day_by_day() {
    drive(1, "UTC", 232).await;
}
