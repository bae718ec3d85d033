//! A farm whose every look is at a time that the test knows, with two hosts that know it too once they are heard.

use chrono::Days;

use super::*;
use crate::feed::{Caller, Client, Heard, Limits};

/// So many days before today its table has.
const TABLE_DAYS: u64 = 40;

pub(super) struct Driven {
    pub(super) farm: TestFarm,
    /// With the machine's own clock.
    workshop: Workshop,
    pub(super) tasks: Tasks,
    heard: Arc<Heard>,
    /// The newest day of its table.
    newest: NaiveDate,
}

impl Driven {
    /// In a zone, from the first instant of a day in UTC on, with a digest on each day of the year.
    pub(super) fn new(first: NaiveDate, zone: &str) -> Self {
        let farm = TestFarm::new(&format!("{first}T00:00:00Z"));
        farm.change("duskflight.toml", "America/Los_Angeles", zone);
        let season = "[season]\nfrom = \"01-01\"\nto = \"12-31\"\n\n[mail]";
        farm.change("duskflight.toml", "[mail]", season);
        let heard = Arc::new(Heard::by(
            Arc::clone(&farm.clock) as Arc<dyn crate::clock::Clock>
        ));
        let workshop = hearing(farm.workshop(), &heard);
        Self {
            tasks: Tasks::new(workshop.clone()),
            newest: NaiveDate::MIN,
            workshop,
            heard,
            farm,
        }
    }

    pub(super) fn config(&self) -> &crate::config::Config {
        &self.workshop.config
    }

    pub(super) fn today(&self) -> NaiveDate {
        self.config().day_of(self.farm.clock.truth())
    }

    /// Works off what is due after so long.
    pub(super) async fn pass_to(&mut self, truth: DateTime<Utc>) {
        self.farm.clock.pass_to(truth);
        for _ in 0..3 {
            self.look().await;
        }
    }

    /// Takes one step and waits for what it began.
    pub(super) async fn look(&mut self) {
        self.write_table();
        self.tasks.step().await.unwrap();
        self.tasks.settle().await;
    }

    /// Two hosts say what time it is.
    pub(super) fn hear(&self) {
        for host in ["a.example", "b.example"] {
            self.heard.hear(host, self.farm.clock.truth());
        }
    }

    /// The box loses its power, and comes up.
    pub(super) fn starts_anew(&mut self) {
        self.farm.clock.start_anew();
        self.heard = Arc::new(Heard::by(Arc::clone(&self.workshop.clock)));
        self.workshop = hearing(self.workshop.clone(), &self.heard);
        self.tasks = Tasks::new(self.workshop.clone());
    }

    pub(super) async fn days_of(&self, sql: &'static str) -> Vec<NaiveDate> {
        let days = self.texts_of(sql).await;
        days.iter().map(|day| day.parse().unwrap()).collect()
    }

    pub(super) async fn texts_of(&self, sql: &'static str) -> Vec<String> {
        let read = move |c: &Connection| {
            let mut rows = c.prepare(sql)?;
            let texts = rows.query_map([], |row| row.get::<_, String>(0))?;
            Ok::<_, StoreError>(texts.collect::<Result<Vec<_>, _>>()?)
        };
        self.workshop.store.read(read).await.unwrap()
    }

    /// Its logger has each day up to yesterday, whatever the clock of the box says.
    fn write_table(&mut self) {
        let newest = crate::clock::day_before(self.today());
        if self.newest == newest {
            return;
        }
        self.newest = newest;
        let days = (newest - Days::new(TABLE_DAYS)).iter_days();
        let rows = days
            .take_while(|day| *day <= newest)
            .map(|day| format!("{day},60,86\n"));
        let table = std::iter::once("date,low,high\n".to_owned()).chain(rows);
        fs::write(self.farm.file("yard.csv"), table.collect::<String>()).unwrap();
    }
}

fn hearing(workshop: Workshop, heard: &Arc<Heard>) -> Workshop {
    let client = Client::new(Limits::default(), Caller::default()).unwrap();
    Workshop {
        client: Arc::new(client.hearing(Arc::clone(heard))),
        ..workshop
    }
}
