//! Charts of a block's season, or of many beneath each other, as plain data: every line, and every word that
//! is printed. Whoever draws them decides nothing of the trade.

mod axis;
mod catches;
mod glance;
mod heat;

pub use catches::{CatchChart, FlightSpan, Panel, ReadingPoint, catch_chart};
pub use glance::{
    FlightHill, GlanceChart, GlanceRow, KeyEntry, KeySample, Sign, SignKind, SignState,
    glance_chart,
};
pub use heat::{AheadPoint, BandPoint, HeatChart, HeatPoint, MarkLine, heat_chart};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::ledger::Event;
use crate::ledger::rank::rank;
use crate::ledger::{Change, Notice, Value};
use crate::season::{BlockSeason, ByBlock};

/// A chart of a mail.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Chart {
    /// Heat so far, beside earlier years.
    Heat(HeatChart),
    /// Catches of moths, with flights.
    Catch(CatchChart),
    /// Blocks beneath each other through the season.
    Glance(GlanceChart),
}

/// What surrounds a chart.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Frame {
    /// The block's name, or a title where a chart is of many.
    pub block: String,
    /// What is drawn and in which unit.
    pub subtitle: String,
    /// The chart in full sentences, for those who do not see it.
    pub alt: String,
    /// One line to stand beneath it.
    pub caption: String,
    /// The first day drawn.
    pub first: NaiveDate,
    /// The last day drawn.
    pub last: NaiveDate,
    /// Days with their labels.
    pub days: Vec<DayTick>,
}

/// A labelled day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DayTick {
    /// The day.
    pub day: NaiveDate,
    /// Its label.
    pub label: String,
}

/// Values up to a highest one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ValueAxis {
    /// The highest value drawn.
    pub highest: f64,
    /// Labelled values from 0 on.
    pub ticks: Vec<ValueTick>,
}

/// A labelled value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ValueTick {
    /// The value.
    pub value: f64,
    /// Its label.
    pub label: String,
}

/// The seasons that a mail draws.
#[derive(Debug, Clone, Copy, Default)]
pub struct Wanted<'a> {
    /// That of the most important news of a mark or a start: its heat.
    pub heat: Option<&'a BlockSeason>,
    /// That of the most important news of what moth traps caught: its catches.
    pub catches: Option<&'a BlockSeason>,
}

impl<'a> Wanted<'a> {
    /// What one person's news asks for. What is only recorded asks for nothing.
    #[must_use]
    pub fn by(seasons: &[&'a BlockSeason], notices: &[Notice]) -> Self {
        let seasons = ByBlock::of(seasons.iter().copied());
        let first = |about: fn(&Event) -> bool| {
            let news = notices.iter();
            let news = news.filter(|notice| {
                about(&notice.event) && !matches!(notice.change, Change::History(_))
            });
            // What happened comes before what is told beside it as still ahead.
            let ahead =
                |notice: &Notice| matches!(notice.change.value(), Some(Value::Range { .. }));
            news.min_by_key(|notice| (rank(notice), ahead(notice)))
                .and_then(|notice| seasons.get(&notice.block, &notice.insect))
        };
        Self {
            heat: first(|event| {
                use Event::{MarkNear, MarkPassed, Start};
                matches!(event, Start | MarkNear(..) | MarkPassed(..))
            }),
            catches: first(|event| matches!(event, Event::Flight(..) | Event::SentinelCatch(..))),
        }
    }
}

impl Chart {
    /// What surrounds it.
    #[must_use]
    pub const fn frame(&self) -> &Frame {
        match self {
            Self::Heat(chart) => &chart.frame,
            Self::Catch(chart) => &chart.frame,
            Self::Glance(chart) => &chart.frame,
        }
    }

    /// Its name among the charts of a mail.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Heat(_) => "heat",
            Self::Catch(_) => "catches",
            Self::Glance(_) => "glance",
        }
    }

    /// Whether it is the season at a glance, which stands before all text.
    #[must_use]
    pub const fn is_first(&self) -> bool {
        matches!(self, Self::Glance(_))
    }

    /// The chart in full sentences, for those who do not see it.
    #[must_use]
    pub fn alt(&self) -> &str {
        &self.frame().alt
    }

    /// One line to stand beneath it.
    #[must_use]
    pub fn caption(&self) -> &str {
        &self.frame().caption
    }
}
