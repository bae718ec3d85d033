//! The US National Weather Service (api.weather.gov): no key, but a contact in each request. What an airport's instruments
//! read from hour to hour, and the forecast of its office for a place.

mod answer;
pub mod grid;
pub mod observations;
