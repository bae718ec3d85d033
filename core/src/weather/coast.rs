//! How far a place is from the Pacific, where its cold air comes from.

use super::Location;
use super::location::EARTH_KM;

/// Capes, points and towns of California's coast from north to south, degrees north and east. Positions of lighthouses are
/// those of the US Coast Guard's Light List (volume VI), from memory, as are those of the towns in the bays; a kilometre or two
/// does not matter here.
const COAST: [(f64, f64); 26] = [
    (42.00, -124.21), // the border to Oregon
    (41.74, -124.20), // Crescent City
    (41.05, -124.15), // Trinidad Head
    (40.76, -124.22), // Humboldt Bay
    (40.44, -124.41), // Cape Mendocino
    (40.25, -124.35), // Punta Gorda
    (39.35, -123.83), // Point Cabrillo
    (38.95, -123.74), // Point Arena
    (38.31, -123.05), // Bodega Head
    (38.00, -123.02), // Point Reyes
    (37.82, -122.53), // Point Bonita
    (37.18, -122.39), // Pigeon Point
    (36.95, -122.03), // Santa Cruz
    (36.80, -121.79), // Moss Landing
    (36.63, -121.93), // Point Pinos
    (36.31, -121.90), // Point Sur
    (35.67, -121.28), // Piedras Blancas
    (35.16, -120.76), // Point San Luis
    (34.58, -120.65), // Point Arguello
    (34.45, -120.47), // Point Conception
    (34.40, -119.69), // Santa Barbara
    (34.15, -119.21), // Point Hueneme
    (34.01, -118.50), // Santa Monica
    (33.74, -118.41), // Point Vicente
    (33.46, -117.71), // Dana Point
    (32.53, -117.12), // the border to Mexico
];
/// Places within these degrees have this coast as their nearest one.
const NORTH: (f64, f64) = (32.5, 42.0);
const WEST: (f64, f64) = (-125.0, -114.0);

impl Location {
    /// Kilometres to the Pacific; `None` outside California, whose coast alone is known here.
    #[must_use]
    pub fn sea_km(&self) -> Option<f64> {
        let within = |value: f64, (low, high): (f64, f64)| (low..=high).contains(&value);
        if !within(self.latitude, NORTH) || !within(self.longitude, WEST) {
            return None;
        }
        let pieces = COAST.windows(2).map(|ends| self.piece_km(ends[0], ends[1]));
        pieces.min_by(f64::total_cmp)
    }

    /// Kilometres to a straight piece of coast, on a plane that touches the earth here.
    fn piece_km(&self, from: (f64, f64), to: (f64, f64)) -> f64 {
        let squeeze = self.latitude.to_radians().cos();
        let flat = |(latitude, longitude): (f64, f64)| {
            let (north, east) = (latitude - self.latitude, longitude - self.longitude);
            let km = |degrees: f64| degrees.to_radians() * EARTH_KM;
            (km(east * squeeze), km(north))
        };
        let (from, to) = (flat(from), flat(to));
        let (east, north) = (to.0 - from.0, to.1 - from.1);
        let along = -(from.0 * east + from.1 * north) / (east * east + north * north);
        let along = along.clamp(0.0, 1.0);
        (from.0 + along * east).hypot(from.1 + along * north)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sea_km(latitude: f64, longitude: f64) -> Option<f64> {
        let place = Location {
            latitude,
            longitude,
            height_m: None,
        };
        place.sea_km()
    }

    #[test]
    fn the_sea_is_as_far_as_a_map_says() {
        for (place, latitude, longitude, expected) in [
            ("Salinas airport", 36.66, -121.61, 12.0..24.0),
            ("San Luis Obispo airport", 35.24, -120.64, 8.0..18.0),
            ("Merced airport", 37.28, -120.51, 115.0..150.0),
            ("Bakersfield", 35.43, -119.06, 115.0..150.0),
            ("Half Moon Bay", 37.46, -122.43, 0.0..6.0),
        ] {
            let km = sea_km(latitude, longitude).unwrap();
            assert!(expected.contains(&km), "{place}: {km}");
        }
        assert_eq!(sea_km(48.1, 11.6), None);
    }
}
