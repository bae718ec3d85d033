//! `duskflight round`: the sheets that go along on a round.

use anyhow::Context;
use askama::Template;
use chrono::NaiveDate;
use clap::{Args, ValueEnum};
use duskflight_core::contents::{RoundSheet, Stop, round_sheets};
use duskflight_core::orchard::{Block, Part, TrapKind};
use duskflight_core::season::BlockSeason;
use duskflight_core::wording::language::{Language, Speech};

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
    /// In this language [default: that of the people who read the traps of a sheet, where it is one, else en]
    #[arg(long, value_name = "CODE", value_parser = language)]
    language: Option<Language>,
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
        let store = store_to_read(&config)?;
        let for_night = config.clone();
        let night = store
            .read(move |c| night(c, &for_night, day))
            .await
            .map_err(|error: StoreError| anyhow::Error::from(error))
            .context("recompute the seasons")?;
        let seasons: Vec<&BlockSeason> = night.seasons.iter().collect();
        let in_language = |language| {
            let speech = Speech::of(language, config.words);
            round_sheets(speech, &night.orchard, &seasons, self.days)
        };
        let mut sheets = match self.language {
            Some(language) => in_language(language),
            None => {
                let sheets = in_language(Language::English).into_iter().enumerate();
                let spoken = |(place, sheet): (usize, RoundSheet)| match language_of(
                    &config, &sheet, &seasons,
                ) {
                    Language::English => sheet,
                    language => in_language(language).swap_remove(place),
                };
                sheets.map(spoken).collect()
            }
        };
        if let Some(route) = &self.route {
            only(&mut sheets, route)?;
        }
        match self.format {
            Format::Table => print(&tables(&sheets)),
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

/// Reads the code of a language.
fn language(code: &str) -> Result<Language, String> {
    let codes = Language::ALL.map(Language::code).join(" or ");
    Language::from_code(code).ok_or_else(|| format!("write {codes}"))
}

/// The language of those who read the traps of a sheet, where it is one.
fn language_of(config: &Config, sheet: &RoundSheet, seasons: &[&BlockSeason]) -> Language {
    let on_sheet = |block: &&Block| sheet.blocks.iter().any(|on| on.block == block.id);
    let blocks = seasons.iter().map(|season| &season.block).filter(on_sheet);
    let readers = blocks.flat_map(|block| match block.scouts.is_empty() {
        true => std::slice::from_ref(&block.adviser),
        false => &block.scouts,
    });
    let people = readers.filter_map(|id| config.person(id));
    let mut languages: Vec<Language> = people.map(|person| person.language).collect();
    languages.dedup();
    match languages[..] {
        [one] => one,
        _ => Language::English,
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
    sheet.speech.route(sheet.route.as_deref())
}

fn long_day(sheet: &RoundSheet) -> String {
    sheet.speech.long_day(sheet.day)
}

fn kind(sheet: &RoundSheet, stop: &Stop) -> &'static str {
    (sheet.speech.round().kind)(stop.kind)
}

fn part(sheet: &RoundSheet, part: &Part) -> &'static str {
    sheet.speech.language.part(*part)
}

fn tables(sheets: &[RoundSheet]) -> String {
    if sheets.is_empty() {
        return "no trap hangs\n".to_owned();
    }
    let tables: Vec<String> = sheets.iter().map(table).collect();
    tables.join("\n")
}

fn table(sheet: &RoundSheet) -> String {
    let speech = sheet.speech;
    let words = speech.round();
    let mut text = format!("{}, {}\n", title(sheet), long_day(sheet));
    for block in &sheet.blocks {
        text.push_str(&format!("  {}: {}\n", block.name, block.entry));
    }
    if sheet.stops.is_empty() {
        text.push_str(&format!("{}\n", words.sheet.nothing_due));
    } else {
        let mut table = plain_table(words.sheet.columns);
        for stop in &sheet.stops {
            table.add_row([
                stop.block.clone(),
                speech.place(&stop.place),
                stop.trap.to_string(),
                kind(sheet, stop).to_owned(),
                stop.todo(speech),
            ]);
        }
        text.push_str(&format!("{table}\n"));
    }
    if !sheet.bring.is_empty() {
        let bring = bring(sheet).join(", ");
        text.push_str(&format!("{} {bring}\n", words.todo.bring));
    }
    for remark in sheet.down.iter().chain(&sheet.without_clock) {
        text.push_str(&format!("{remark}\n"));
    }
    text
}

/// What to bring, product by product.
fn bring(sheet: &RoundSheet) -> Vec<String> {
    let supplies = sheet.bring.iter();
    supplies
        .map(|s| format!("{} × {} ({})", s.count, s.product, part(sheet, &s.part)))
        .collect()
}

/// All sheets as one page to print; the page has the language of the first.
fn page(config: &Config, day: NaiveDate, sheets: &[RoundSheet]) -> Result<String, Failure> {
    let english = Speech::of(Language::English, config.words);
    let speech = sheets.first().map_or(english, |sheet| sheet.speech);
    let page = Page {
        farm: &config.farm,
        farm_note: config.note.as_deref(),
        speech,
        day: speech.long_day(day),
        sheets,
    };
    Ok(page.render().context("write the sheets")?)
}

/// Classes of the columns of the printed table.
const HEADS: [&str; 7] = ["gate", "row", "tree", "trap", "counts", "parts", "remark"];

#[derive(Template)]
#[template(path = "round/sheets.html")]
struct Page<'a> {
    farm: &'a str,
    farm_note: Option<&'a str>,
    speech: Speech,
    day: String,
    sheets: &'a [RoundSheet],
}
