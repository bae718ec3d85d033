//! Charts that were drawn: several mails of a morning show the same one.

use std::collections::BTreeMap;

use duskflight_core::contents::Chart;

use super::message::Picture;
use crate::chart::{self, ChartError};
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

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;
    use duskflight_core::contents::CatchChart;
    use duskflight_core::contents::chart::Frame;

    use super::*;

    fn chart(block: &str) -> Chart {
        let first = NaiveDate::from_ymd_opt(2022, 4, 18).unwrap();
        Chart::Catch(CatchChart {
            frame: Frame {
                block: block.to_owned(),
                subtitle: String::new(),
                alt: String::new(),
                caption: String::new(),
                first,
                last: first,
                days: Vec::new(),
            },
            panels: Vec::new(),
            hollow_label: None,
        })
    }

    #[test]
    fn a_chart_that_several_mails_show_is_drawn_once() {
        let mut gallery = Gallery::default();
        let shown = [chart("North"), chart("South"), chart("North")];
        let pictures = gallery.pictures(&shown).unwrap();
        assert_eq!(gallery.0.len(), 2);
        assert_eq!(pictures[0].png, pictures[2].png);
        assert_eq!(pictures[0].png, chart::png(&shown[0]).unwrap());
        assert_ne!(pictures[0].png, pictures[1].png);
    }
}
