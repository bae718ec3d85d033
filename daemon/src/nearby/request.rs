//! What is looked for, and where.

use chrono::NaiveDate;
use duskflight_core::weather::Location;

use crate::feed::HttpUrl;

/// What to look for.
#[derive(Debug, Clone)]
pub struct Request {
    /// The orchard.
    pub orchard: Location,
    /// How far around it, kilometres.
    pub within_km: f64,
    /// Today: only days before it may be known.
    pub day: NaiveDate,
    /// Whether the long list of all the world's stations is asked, too; it is where the others have none.
    pub worldwide: bool,
    /// Where the lists are.
    pub services: Services,
}

/// The addresses of the lists.
#[derive(Debug, Clone)]
pub struct Services {
    /// ACIS, with its methods below.
    pub acis: HttpUrl,
    /// The list of CIMIS stations.
    pub cimis: HttpUrl,
    /// The folder of GHCN-Daily.
    pub ghcn: HttpUrl,
}

impl Request {
    /// How far a place is, when it is near enough.
    pub(super) fn near(&self, place: &Location) -> Option<f64> {
        let distance = self.orchard.distance_km(place);
        (distance <= self.within_km).then_some(distance)
    }
}

/// An address below another one.
pub(super) fn below(url: &HttpUrl, name: &str) -> HttpUrl {
    let url = url.whole().as_str().trim_end_matches('/');
    HttpUrl::new(&format!("{url}/{name}")).expect("an address with a name behind it is one")
}
