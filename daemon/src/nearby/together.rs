//! The same station in several lists is one station with several feeds.

use super::found::{Found, Served};

/// A station of the archive's list that lies so near to one of ACIS's, kilometres, is that station, unless their ids
/// say otherwise.
const SAME_PLACE_KM: f64 = 1.0;

/// Stations of all lists, those of earlier ones first: each once, the nearest first. A station of CIMIS stays by itself
/// whatever stands beside it: its instruments are its own.
pub(super) fn together(found: Vec<Found>) -> Vec<Found> {
    let mut stations: Vec<Found> = Vec::new();
    for next in found {
        match stations.iter_mut().find(|station| is_same(station, &next)) {
            Some(station) => {
                let more = next.serves.into_iter();
                let more = more.filter(|served| !station.serves.contains(served));
                let more: Vec<Served> = more.collect();
                station.serves.extend(more);
                let height = &mut station.location.height_m;
                *height = height.or(next.location.height_m);
            }
            None => stations.push(next),
        }
    }
    stations.sort_by(|one, other| one.distance_km.total_cmp(&other.distance_km));
    stations
}

fn is_same(station: &Found, next: &Found) -> bool {
    let (one, other) = (archived(station), archived(next));
    match (one, other) {
        (Some(one), Some(other)) => one == other,
        (None, Some(_)) => {
            matches!(station.serves.first(), Some(Served::Acis(_)))
                && matches!(next.serves.as_slice(), [Served::Ncei(_)])
                && station.location.distance_km(&next.location) <= SAME_PLACE_KM
        }
        _ => false,
    }
}

/// The station's id in the archive.
fn archived(station: &Found) -> Option<&str> {
    station.serves.iter().find_map(|served| match served {
        Served::Ncei(id) => Some(id.as_str()),
        Served::Acis(_) | Served::Cimis(_) | Served::Iem(..) => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nearby::tests::station;

    fn acis(id: &str) -> Served {
        Served::Acis(id.to_owned())
    }

    fn ncei(id: &str) -> Served {
        Served::Ncei(id.to_owned())
    }

    #[test]
    fn a_station_of_several_lists_is_one_by_its_ids_or_else_by_its_place() {
        let stations = together(vec![
            station("far", 0.3, &[acis("KAAA"), ncei("USW1")]),
            station("near", 0.1, &[acis("1 2")]),
            station("cimis", 0.1, &[Served::Cimis(39)]),
            station("FAR", 0.31, &[ncei("USW1")]),
            station("NEAR", 0.105, &[ncei("USC1")]),
            station("BESIDE FAR", 0.3, &[ncei("USC2")]),
            station("alone", 0.12, &[ncei("USC3")]),
        ]);
        let expected: [(&str, Vec<Served>); 5] = [
            ("near", vec![acis("1 2"), ncei("USC1")]),
            ("cimis", vec![Served::Cimis(39)]),
            ("alone", vec![ncei("USC3")]),
            ("far", vec![acis("KAAA"), ncei("USW1")]),
            ("BESIDE FAR", vec![ncei("USC2")]),
        ];
        let names: Vec<(&str, Vec<Served>)> = stations
            .iter()
            .map(|station| (station.name.as_str(), station.serves.clone()))
            .collect();
        assert_eq!(names, expected);
    }
}
