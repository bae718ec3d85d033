//! `duskflight stations near`: which stations stand around an orchard.

use std::fmt::Write as _;

use anyhow::{Context, anyhow};
use chrono::NaiveDate;
use clap::Args;
use duskflight_core::weather::{Concern, FOOT_M, Location, Prospect, concerns};
use duskflight_core::wording::plural;

use crate::cli::Failure;
use crate::cli::common::{ConfigDir, note, print};
use crate::clock::{Clock, SystemClock};
use crate::config::MAIN_FILE;
use crate::error_chain::error_chain;
use crate::feed::{Client, HttpUrl, Limits};
use crate::nearby::{self, Found, Nearby, Request, Served, Services};
use crate::one_line::one_line;

const KM_OF_A_MILE: f64 = 1.609_344;

#[derive(Debug, Args)]
pub(in crate::cli) struct Near {
    /// Where the orchard lies: degrees north and east, such as 37.12,-120.26
    #[arg(value_name = "LAT,LON", value_parser = place, allow_hyphen_values = true)]
    orchard: (f64, f64),
    /// How high it lies above the sea, such as 240ft or 73m; without it no difference in height is known
    #[arg(long, value_name = "HEIGHT", value_parser = height_m, allow_hyphen_values = true)]
    height: Option<f64>,
    /// How far to look, kilometres
    #[arg(long, value_name = "KM", default_value_t = 50, value_parser = clap::value_parser!(u16).range(1..=500))]
    within: u16,
    /// So many stations are printed at the most, the nearest first
    #[arg(long, value_name = "COUNT", default_value_t = 8)]
    most: usize,
    /// Ask also the list of all the world's stations (GHCN-Daily, some 45 MB), which else is asked only where the
    /// others have none
    #[arg(long)]
    worldwide: bool,
    #[command(flatten)]
    config: ConfigDir,
    /// Day to look from
    #[arg(long, value_name = "DATE", hide = true)]
    as_of: Option<NaiveDate>,
    #[arg(long, hide = true, value_parser = HttpUrl::new, default_value = "https://data.rcc-acis.org")]
    acis: HttpUrl,
    #[arg(long, hide = true, value_parser = HttpUrl::new, default_value = "https://et.water.ca.gov/api/station")]
    cimis: HttpUrl,
    #[arg(long, hide = true, value_parser = HttpUrl::new, default_value = "https://www.ncei.noaa.gov/pub/data/ghcn/daily")]
    ghcn: HttpUrl,
}

fn place(text: &str) -> Result<(f64, f64), String> {
    let wanted = "write degrees north, a comma and degrees east, such as 37.12,-120.26";
    let (latitude, longitude) = text.split_once(',').ok_or(wanted)?;
    let degrees = |text: &str, most: f64| {
        let degrees: Option<f64> = text.trim().parse().ok();
        degrees
            .filter(|degrees| degrees.abs() <= most)
            .ok_or(wanted)
    };
    Ok((degrees(latitude, 90.0)?, degrees(longitude, 180.0)?))
}

fn height_m(text: &str) -> Result<f64, String> {
    let text = text.trim().to_lowercase();
    let (number, metres) = match (text.strip_suffix("ft"), text.strip_suffix('m')) {
        (Some(feet), _) => (feet, FOOT_M),
        (None, Some(metres)) => (metres, 1.0),
        (None, None) => return Err("write a number with its unit, such as 240ft or 73m".to_owned()),
    };
    let number: Option<f64> = number.trim().parse().ok();
    let height = number.map(|number| number * metres);
    height
        .filter(|height| Location::HEIGHTS_M.contains(height))
        .ok_or_else(|| "no orchard lies there; write a height such as 240ft or 73m".to_owned())
}

impl Near {
    pub(super) async fn run(self) -> Result<(), Failure> {
        // Where there is no farm yet, nobody is named to the services, and every id is free.
        let config = self.config.read().ok();
        let caller = config
            .as_ref()
            .map(|config| config.caller())
            .unwrap_or_default();
        let client = |limits| Client::new(limits, caller).context("prepare the HTTP client");
        let today = SystemClock.now().date_naive();
        let request = Request {
            orchard: Location {
                latitude: self.orchard.0,
                longitude: self.orchard.1,
                height_m: self.height,
            },
            within_km: f64::from(self.within),
            day: self.as_of.unwrap_or(today),
            worldwide: self.worldwide,
            services: Services {
                acis: self.acis,
                cimis: self.cimis,
                ghcn: self.ghcn,
            },
        };
        let usual = client(Limits::default())?.with_tries(2);
        let patient = client(nearby::patient())?.with_tries(2);
        let nearby = nearby::search(&usual, &patient, &request).await;
        for error in &nearby.failed {
            note(format_args!(
                "not all could be asked: {}",
                error_chain(error)
            ));
        }
        if nearby.stations.is_empty() {
            return none(&request, &nearby);
        }
        let stations = config.iter().flat_map(|config| &config.stations);
        let mut taken: Vec<String> = stations.map(|station| station.id.to_string()).collect();
        print(&heading(&request, &nearby, self.most))?;
        for station in nearby.stations.iter().take(self.most) {
            let lines = nearby::lines(station, request.day, &mut taken);
            print(&format!("\n{}{lines}", facts(station, &request)))?;
        }
        Ok(())
    }
}

fn none(request: &Request, nearby: &Nearby) -> Result<(), Failure> {
    let within = request.within_km;
    if !nearby.failed.is_empty() {
        return Err(Failure::try_later(anyhow!(
            "no station within {within} km is known while not all services answer"
        )));
    }
    print(&format!(
        "# No station within {within} km that has days of the last two months; look further with --within, or set up a \
         logger's table.\n"
    ))
}

fn heading(request: &Request, nearby: &Nearby, most: usize) -> String {
    let Location {
        latitude,
        longitude,
        height_m,
    } = request.orchard;
    let all = nearby.stations.len();
    let mut text = format!(
        "# Stations within {} km of {latitude}, {longitude}: {} of {all}, the nearest first{}.\n\
         # Paste the lines of one into {MAIN_FILE}, then `duskflight check --online`, `duskflight feed try --station ID`.\n",
        request.within_km,
        all.min(most),
        match nearby.ended {
            0 => String::new(),
            ended => format!("; {} ended and left out", plural(ended, "station")),
        }
    );
    if height_m.is_none() {
        text.push_str("# How high the orchard lies is not known: with --height, such as 240ft, differences are shown.\n");
    }
    if request.orchard.sea_km().is_none() {
        text.push_str("# The coast is known here of California alone; elsewhere look at a map.\n");
    }
    text
}

/// What is known of a station, as comments.
fn facts(station: &Found, request: &Request) -> String {
    let height = station.location.height_m;
    let difference = height.zip(request.orchard.height_m);
    let mut text = format!(
        "# {}: {:.1} km ({:.1} mi) away, {}{}\n# {}; {}, {}\n",
        one_line(&station.name),
        station.distance_km,
        station.distance_km / KM_OF_A_MILE,
        height.map_or("height not known".to_owned(), high),
        difference.map_or(String::new(), |(station, orchard)| {
            match station - orchard {
                same if same.abs() < 0.5 => ", as high as the orchard".to_owned(),
                difference => format!(", {} than the orchard", higher(difference)),
            }
        }),
        feeds(&station.serves),
        days(station),
        lately(station),
    );
    let prospect = Prospect {
        location: station.location,
        first: station.first,
        lately: station.lately.map(|lately| lately.share),
    };
    for concern in concerns(&request.orchard, &prospect, request.day) {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "# look at: {}", words(concern));
    }
    text
}

fn high(metres: f64) -> String {
    format!("{metres:.0} m ({:.0} ft) high", metres / FOOT_M)
}

fn higher(metres: f64) -> String {
    let way = if metres < 0.0 { "lower" } else { "higher" };
    let metres = metres.abs();
    format!("{metres:.0} m ({:.0} ft) {way}", metres / FOOT_M)
}

fn feeds(serves: &[Served]) -> String {
    let names = serves.iter().map(|served| match served {
        Served::Acis(id) => format!("ACIS {id}"),
        Served::Cimis(number) => format!("CIMIS {number} (needs a key of your own)"),
        Served::Iem(network, id) => format!("IEM {network} {id}"),
        Served::Ncei(id) => format!("NCEI and GHCN-Daily {id}"),
    });
    names.collect::<Vec<_>>().join(", ")
}

fn days(station: &Found) -> String {
    match station.newest {
        Some(newest) => format!("days from {} to {newest}", station.first),
        None => format!("days since {}", station.first),
    }
}

fn lately(station: &Found) -> String {
    match station.lately {
        None => "how many of the last three years are there was not asked".to_owned(),
        Some(lately) => format!(
            "{:.0} % of the last three years are there{}",
            lately.share * 100.0,
            if lately.morning {
                ", read in the morning"
            } else {
                ""
            }
        ),
    }
}

fn words(concern: Concern) -> String {
    match concern {
        Concern::Height(metres) => format!(
            "it stands {} than the orchard; on a slope nights and afternoons are others",
            higher(metres)
        ),
        Concern::Sea(station, orchard) => format!(
            "it is {station:.0} km from the sea and the orchard {orchard:.0} km; sea air keeps its afternoons cool"
        ),
        Concern::Short(years) => format!(
            "its record has {years:.0} years; dates are projected from past years, and ten are few"
        ),
        Concern::Gappy(share) => format!(
            "only {:.0} % of its last days are there; name another station in fall_backs",
            share * 100.0
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_and_a_height_are_read_as_people_write_them() {
        assert_eq!(place("37.12,-120.26"), Ok((37.12, -120.26)));
        assert_eq!(place("-36.8, 175"), Ok((-36.8, 175.0)));
        for wrong in [
            "37.12",
            "37.12;-120",
            "95,0",
            "37,181",
            "north,west",
            "NaN,0",
        ] {
            assert!(place(wrong).is_err(), "{wrong}");
        }
        assert_eq!(height_m("73m"), Ok(73.0));
        assert_eq!(height_m("73 M"), Ok(73.0));
        assert!((height_m("240FT").unwrap() - 73.152).abs() < 1e-9);
        for wrong in ["73", "m", "73km", "99999ft", "NaNm"] {
            assert!(height_m(wrong).is_err(), "{wrong}");
        }
    }
}
