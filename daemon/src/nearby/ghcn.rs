//! The lists of GHCN-Daily: every station of the world, with the years that each element has (fixed columns).

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use chrono::NaiveDate;
use duskflight_core::weather::Location;

use super::error::NearbyError;
use super::found::{Found, Served};
use super::request::{Request, below};
use crate::feed::Client;

const SERVICE: &str = "GHCN-Daily";
/// A height that is not known.
const NO_HEIGHT: f64 = -999.9;

pub(super) async fn ask(client: &Client, request: &Request) -> Result<Vec<Found>, NearbyError> {
    let list = |name: &'static str| {
        let url = below(&request.services.ghcn, name);
        async move { client.get(&url).await.map_err(NearbyError::get(SERVICE)) }
    };
    let years = years(&list("ghcnd-inventory.txt").await?, request)?;
    if years.is_empty() {
        return Ok(Vec::new());
    }
    stations(&list("ghcnd-stations.txt").await?, &years, request)
}

/// First and last year of both temperatures together, by id, of stations in the box.
fn years(
    inventory: &[u8],
    request: &Request,
) -> Result<BTreeMap<String, RangeInclusive<i32>>, NearbyError> {
    let [south, north, west, east] = request.orchard.box_around(request.within_km);
    let mut of_elements: BTreeMap<String, Vec<RangeInclusive<i32>>> = BTreeMap::new();
    let text = String::from_utf8_lossy(inventory);
    let mut understood = false;
    for line in text.lines() {
        let Some((id, latitude, longitude)) = place(line) else {
            continue;
        };
        let (Some(element), Some(first), Some(last)) =
            (column(line, 32, 35), year(line, 37), year(line, 42))
        else {
            continue;
        };
        understood = true;
        let near = (south..=north).contains(&latitude) && (west..=east).contains(&longitude);
        if near && matches!(element, "TMAX" | "TMIN") {
            of_elements
                .entry(id.to_owned())
                .or_default()
                .push(first..=last);
        }
    }
    if !understood {
        return Err(NearbyError::not_a_list(SERVICE, inventory));
    }
    let both = of_elements.into_iter().filter_map(|(id, years)| {
        let [one, other] = years.as_slice() else {
            return None;
        };
        let both = *one.start().max(other.start())..=*one.end().min(other.end());
        (!both.is_empty()).then_some((id, both))
    });
    Ok(both.collect())
}

fn stations(
    list: &[u8],
    years: &BTreeMap<String, RangeInclusive<i32>>,
    request: &Request,
) -> Result<Vec<Found>, NearbyError> {
    use chrono::Datelike;
    let text = String::from_utf8_lossy(list);
    let found = text.lines().filter_map(|line| {
        let (id, latitude, longitude) = place(line)?;
        let years = years.get(id)?;
        let height = column(line, 32, 37).and_then(|text| text.parse().ok());
        let location = Location {
            latitude,
            longitude,
            height_m: height.filter(|height| *height != NO_HEIGHT),
        };
        let goes_on = *years.end() >= request.day.year();
        Some(Found {
            name: column(line, 42, 71).unwrap_or(id).to_owned(),
            distance_km: request.near(&location)?,
            location,
            serves: vec![Served::Ncei(id.to_owned())],
            first: NaiveDate::from_ymd_opt(*years.start(), 1, 1)?,
            newest: match goes_on {
                true => None,
                false => NaiveDate::from_ymd_opt(*years.end(), 12, 31),
            },
            lately: None,
        })
    });
    let found: Vec<Found> = found.collect();
    match found.is_empty() && !text.lines().any(|line| place(line).is_some()) {
        true => Err(NearbyError::not_a_list(SERVICE, list)),
        false => Ok(found),
    }
}

/// What both lists begin with: id, degrees north and east.
fn place(line: &str) -> Option<(&str, f64, f64)> {
    let id = column(line, 1, 11)?;
    let latitude = column(line, 13, 20)?.parse().ok()?;
    let longitude = column(line, 22, 30)?.parse().ok()?;
    Some((id, latitude, longitude))
}

fn year(line: &str, first: usize) -> Option<i32> {
    column(line, first, first + 3)?.parse().ok()
}

/// What stands in columns that are counted from 1, without blanks around it; nothing where there is nothing.
fn column(line: &str, first: usize, last: usize) -> Option<&str> {
    let end = line.len().min(last);
    let text = line.get(first - 1..end)?.trim();
    (!text.is_empty()).then_some(text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nearby::tests::request;

    /// Columns by the readme of the files; the stations are invented but for the first.
    const INVENTORY: &str = "\
USW00023257  37.2847 -120.5128 TMAX 1998 2026
USW00023257  37.2847 -120.5128 TMIN 1998 2026
USW00023257  37.2847 -120.5128 PRCP 1998 2026
USC00000001  37.1000 -120.3000 TMAX 1950 1997
USC00000001  37.1000 -120.3000 TMIN 1951 1999
USC00000002  37.1500 -120.3000 TMAX 1950 2026
GM000000003  48.1000   11.6000 TMAX 1950 2026
GM000000003  48.1000   11.6000 TMIN 1950 2026
";
    const STATIONS: &str = "\
USW00023257  37.2847 -120.5128   46.6 CA MERCED MUNI AP                         72481
USC00000001  37.1000 -120.3000 -999.9 CA SOMEWHERE
GM000000003  48.1000   11.6000  535.0    ANYWHERE                       GSN     10870
";

    #[test]
    fn stations_near_that_have_both_temperatures_are_read_from_the_columns() {
        let request = request();
        let years = years(INVENTORY.as_bytes(), &request).unwrap();
        let found = stations(STATIONS.as_bytes(), &years, &request).unwrap();
        let [merced, ended] = found.as_slice() else {
            panic!("{found:?}");
        };
        assert_eq!(merced.name, "MERCED MUNI AP");
        assert_eq!(merced.serves, [Served::Ncei("USW00023257".to_owned())]);
        assert_eq!(merced.location.height_m, Some(46.6));
        assert_eq!(
            (merced.first.to_string(), merced.newest),
            ("1998-01-01".to_owned(), None)
        );
        assert_eq!(ended.location.height_m, None);
        let days = (ended.first.to_string(), ended.newest.unwrap().to_string());
        assert_eq!(days, ("1951-01-01".to_owned(), "1997-12-31".to_owned()));
    }

    #[test]
    fn what_is_no_list_is_named_and_no_bytes_are_too_odd() {
        let request = request();
        for wrong in [
            &b""[..],
            b"<html>down</html>",
            b"\xff\xfe",
            "USW0002325é  37.2 -120".as_bytes(),
        ] {
            assert!(years(wrong, &request).is_err());
            assert!(stations(wrong, &BTreeMap::new(), &request).is_err());
        }
    }
}
