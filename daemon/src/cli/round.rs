//! `duskflight round`: the sheets that go along on a round.

use anyhow::Context;
use askama::Template;
use chrono::NaiveDate;
use clap::{Args, ValueEnum};
use duskflight_core::contents::{RoundSheet, round_sheets};
use duskflight_core::orchard::TrapKind;
use duskflight_core::season::BlockSeason;
use duskflight_core::wording::Words;

use super::Failure;
use super::common::{AsOf, ConfigDir, note, plain_table, print, store_to_read};
use crate::config::Config;
use crate::records::round_csv;
use crate::store::StoreError;
use crate::telling::night;

/// Print round sheets: what to read and change at each trap, in walking order, and what to bring
///
/// A route is what traps.csv names in the column route; traps without one stand on a sheet of their
/// own. Blocks with a note "no entry until" stand at the head, and their traps wait. As CSV a sheet can
/// be filled in and given to `visits import`; rows left blank are passed over there.
#[derive(Debug, Args)]
pub(super) struct Round {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
    /// Only this route [default: all, and the traps without one]
    #[arg(long)]
    route: Option<String>,
    /// Also readings and parts that fall due within so many days
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = clap::value_parser!(u64).range(..=31))]
    days: u64,
    /// For a terminal, to print, or to fill in and import
    #[arg(long, value_enum, default_value_t = Format::Table)]
    format: Format,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    Table,
    Html,
    Csv,
}

impl Round {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let (day, _) = self.as_of.moment(&config);
        let words = config.words;
        let store = store_to_read(&config)?;
        let for_night = config.clone();
        let night = store
            .read(move |c| night(c, &for_night, day))
            .await
            .map_err(|error: StoreError| anyhow::Error::from(error))
            .context("recompute the seasons")?;
        let seasons: Vec<&BlockSeason> = night.seasons.iter().collect();
        let mut sheets = round_sheets(words, &night.orchard, &seasons, self.days);
        if let Some(route) = &self.route {
            only(&mut sheets, route)?;
        }
        match self.format {
            Format::Table => print(&tables(words, &sheets)),
            Format::Html => print(&page(&config, day, &sheets)?),
            Format::Csv => {
                for block in sheets.iter().flat_map(|sheet| &sheet.blocks) {
                    if block.closed_until.is_some() {
                        note(format!("{}: {}", block.name, block.entry));
                    }
                }
                print(&round_csv(&sheets))
            }
        }
    }
}

/// Keeps the sheet of one route.
fn only(sheets: &mut Vec<RoundSheet>, route: &str) -> Result<(), Failure> {
    let routes: Vec<String> = sheets.iter().filter_map(|s| s.route.clone()).collect();
    sheets.retain(|sheet| sheet.route.as_deref() == Some(route));
    if sheets.is_empty() {
        let routes = match routes.as_slice() {
            [] => "no trap that hangs has one".to_owned(),
            routes => format!("the routes are {}", routes.join(", ")),
        };
        return Err(Failure::usage(anyhow::anyhow!(
            "route {route}: no such route; {routes}"
        )));
    }
    Ok(())
}

fn title(sheet: &RoundSheet) -> String {
    match &sheet.route {
        Some(route) => format!("Route {route}"),
        None => "No route".to_owned(),
    }
}

fn tables(words: Words, sheets: &[RoundSheet]) -> String {
    if sheets.is_empty() {
        return "no trap hangs\n".to_owned();
    }
    let tables: Vec<String> = sheets.iter().map(|sheet| table(words, sheet)).collect();
    tables.join("\n")
}

fn table(words: Words, sheet: &RoundSheet) -> String {
    let mut text = format!("{}, {}\n", title(sheet), words.long_day(sheet.day));
    for block in &sheet.blocks {
        text.push_str(&format!("  {}: {}\n", block.name, block.entry));
    }
    if sheet.stops.is_empty() {
        text.push_str("nothing is due\n");
    } else {
        let mut table = plain_table(["block", "place", "trap", "kind", "what"]);
        for stop in &sheet.stops {
            table.add_row([
                stop.block.clone(),
                stop.place.to_string(),
                stop.trap.to_string(),
                stop.kind.name().to_owned(),
                stop.todo(),
            ]);
        }
        text.push_str(&format!("{table}\n"));
    }
    if !sheet.bring.is_empty() {
        text.push_str(&format!("bring {}\n", bring(sheet).join(", ")));
    }
    for remark in &sheet.remarks {
        text.push_str(&format!("{remark}\n"));
    }
    text
}

/// What to bring, product by product.
fn bring(sheet: &RoundSheet) -> Vec<String> {
    let supplies = sheet.bring.iter();
    supplies
        .map(|s| format!("{} × {} ({})", s.count, s.product, s.part.words()))
        .collect()
}

/// All sheets as one page to print.
fn page(config: &Config, day: NaiveDate, sheets: &[RoundSheet]) -> Result<String, Failure> {
    let page = Page {
        farm: &config.farm,
        farm_note: config.note.as_deref(),
        day: config.words.long_day(day),
        sheets,
    };
    Ok(page.render().context("write the sheets")?)
}

#[derive(Template)]
#[template(path = "round/sheets.html")]
struct Page<'a> {
    farm: &'a str,
    farm_note: Option<&'a str>,
    day: String,
    sheets: &'a [RoundSheet],
}
