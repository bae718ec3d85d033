//! `duskflight feed list`: the kinds of feeds, what each gives and needs, and who uses it here.

use std::fmt::Write as _;
use std::sync::Arc;

use clap::Args;
use textwrap::Options;

use crate::cli::Failure;
use crate::cli::common::{ConfigDir, note, print};
use crate::config::Config;
use crate::feed::{Declaration, KINDS};

/// Columns of the printed text.
const WIDTH: usize = 100;

#[derive(Debug, Args)]
pub(in crate::cli) struct List {
    #[command(flatten)]
    config: ConfigDir,
}

impl List {
    pub(super) fn run(&self) -> Result<(), Failure> {
        let config = self.config.read();
        if config.is_err() {
            note("there is no configuration that can be read, so no station's use is marked");
        }
        let config = config.ok();
        let kinds = KINDS.map(|kind| words(kind, config.as_ref()));
        print(&kinds.join("\n"))
    }
}

fn words(kind: &Declaration, config: Option<&Arc<Config>>) -> String {
    let mut text = format!("[{}]\n", kind.table);
    let used = config.map(|config| used_by(kind, config));
    let rows = [
        ("feed", kind.service.to_owned()),
        ("values", format!("{}, {}", kind.values, kind.unit)),
        ("its day", kind.day.to_owned()),
        ("how late", kind.latency.to_owned()),
        ("flags", kind.flags.to_owned()),
        ("needs", kind.needs.to_string()),
        ("used by", used.unwrap_or_else(|| "–".to_owned())),
    ];
    for (name, value) in rows {
        let first = format!("  {name:<10}");
        let options = Options::new(WIDTH)
            .initial_indent(&first)
            .subsequent_indent("            ");
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{}", textwrap::fill(&value, options));
    }
    text
}

/// The stations of a farm that have a kind of feed.
fn used_by(kind: &Declaration, config: &Config) -> String {
    let uses = config.stations.iter().filter(|station| {
        let forecast = station.forecast.as_ref().map(|source| source.declares());
        station.source.declares() == kind || forecast == Some(kind)
    });
    let names = uses.map(|station| format!("{} ({})", station.id, station.name));
    match names.collect::<Vec<_>>().as_slice() {
        [] => "no station here".to_owned(),
        names => names.join(", "),
    }
}
