//! Charts that were drawn: several mails of a morning show the same one.

use std::collections::BTreeMap;

use duskflight_core::contents::Chart;

use super::chart::{self, ChartError};
use super::message::Picture;
use crate::hash::hash;

/// Charts drawn so far, by what they show.
#[derive(Debug, Default)]
pub(super) struct Gallery(BTreeMap<String, Vec<u8>>);

impl Gallery {
    /// The pictures of some charts, each drawn at its first showing.
    ///
    /// # Errors
    /// When a chart cannot be drawn.
    pub(super) fn pictures(&mut self, charts: &[Chart]) -> Result<Vec<Picture>, ChartError> {
        let pictures = charts.iter().map(|chart| {
            Ok(Picture {
                name: chart.name().to_owned(),
                png: self.png(chart)?,
            })
        });
        pictures.collect()
    }

    fn png(&mut self, chart: &Chart) -> Result<Vec<u8>, ChartError> {
        let shown =
            serde_json::to_vec(chart).expect("texts, days and numbers can be written as JSON");
        let key = hash(&[&shown]);
        if let Some(drawn) = self.0.get(&key) {
            return Ok(drawn.clone());
        }
        let png = chart::png(chart)?;
        self.0.insert(key, png.clone());
        Ok(png)
    }
}
