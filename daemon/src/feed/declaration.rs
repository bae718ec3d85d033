//! What each kind of feed is, whatever the station: said once, for the program, the guide and whoever chooses a feed.

use std::fmt;

/// What a kind of feed is. Texts are whole phrases without a full stop.
#[derive(Debug, PartialEq, Eq)]
pub struct Declaration {
    /// Its table in the configuration, such as `station.ncei`.
    pub table: &'static str,
    /// The feed's name in the store.
    pub name: &'static str,
    /// The service and who runs it.
    pub service: &'static str,
    /// What its values are.
    pub values: Values,
    /// Its unit.
    pub unit: &'static str,
    /// From when to when its day lasts.
    pub day: &'static str,
    /// When a day can be had, and until when it changes.
    pub latency: &'static str,
    /// What becomes of values that it marks.
    pub flags: &'static str,
    /// What it asks of whoever uses it.
    pub needs: Needs,
    /// How far back it can be asked.
    pub past: Past,
}

/// What values are, in the order of what they are worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Values {
    /// Read at a station.
    Observed,
    /// What a model says was there: never called measured.
    Modelled,
    /// What is to come.
    Forecast,
}

/// What a feed asks of whoever uses it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Needs {
    /// Nothing.
    Nothing,
    /// A key that the service gives.
    Key,
    /// A contact in each request.
    Contact,
    /// A paid key or a host of one's own, where use is commercial.
    KeyInBusiness,
}

/// How much of the past a feed gives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Past {
    /// All that it has comes with every answer.
    Whole,
    /// The days that are asked for.
    AsAsked,
    /// The last so many days.
    Days(u64),
}

impl fmt::Display for Values {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Observed => "observed",
            Self::Modelled => "modelled",
            Self::Forecast => "forecast",
        })
    }
}

impl fmt::Display for Needs {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Nothing => "nothing",
            Self::Key => "a key of your own",
            Self::Contact => "a contact: `operator` in `[farm]`",
            Self::KeyInBusiness => {
                "nothing for non-commercial use, with attribution (CC BY 4.0); else a paid key or a host of your own"
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::feed::{FeedSource, ForecastSource, KINDS};

    #[test]
    fn every_kind_that_a_configuration_knows_is_declared_once() {
        let known = |error: toml::de::Error| -> Vec<String> {
            let error = error.to_string();
            let names = error.split('`').skip(3).step_by(2);
            names.map(str::to_owned).collect()
        };
        let unknown = "[satellite]\nx = 1";
        let stations = known(toml::from_str::<FeedSource>(unknown).unwrap_err());
        let forecasts = known(toml::from_str::<ForecastSource>(unknown).unwrap_err());
        let stations = stations.iter().map(|name| format!("station.{name}"));
        let forecasts = forecasts
            .iter()
            .map(|name| format!("station.forecast.{name}"));
        let known: Vec<String> = stations.chain(forecasts).collect();
        assert_eq!(KINDS.map(|kind| kind.table).to_vec(), known);
    }

    #[test]
    fn the_guide_has_the_table_of_what_is_declared() {
        let guide = include_str!("../../../deploy/guide/feeds.md");
        let mut table = "| feed | in the configuration | values | unit | its day | how late | flags | needs |\n\
                         |---|---|---|---|---|---|---|---|\n"
            .to_owned();
        for kind in KINDS {
            let Declaration {
                table: key,
                service,
                values,
                unit,
                day,
                latency,
                flags,
                needs,
                ..
            } = kind;
            table += &format!(
                "| {service} | `[{key}]` | {values} | {unit} | {day} | {latency} | {flags} | {needs} |\n"
            );
        }
        assert!(guide.contains(&table), "put this table there:\n{table}");
    }
}
