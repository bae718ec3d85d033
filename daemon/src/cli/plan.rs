//! `duskflight plan`: traps wanted by the published densities, and the work of the year.

use anyhow::Context;
use clap::{Args, ValueEnum};
use duskflight_core::id::BlockId;
use duskflight_core::orchard::Orchard;
use duskflight_core::season::{BlockSeason, TrapPlan, trap_plan};
use duskflight_core::wording::{Whose, Words, YEAR};
use serde_json::{Value, json};

use super::Failure;
use super::common::{AsOf, ConfigDir, plain_table, print, store_to_read};
use crate::store::StoreError;
use crate::telling::night;

/// Show how many traps each block would have by the published densities, and the work of the year
///
/// Each number stands with its source, and sources that disagree side by side. Dates of sanitation are
/// the handbook's for the district, never a block's deadline.
#[derive(Debug, Args)]
pub(super) struct Plan {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
    /// Only this block
    #[arg(long, value_name = "BLOCK")]
    block: Option<BlockId>,
    /// For people, or as JSON
    #[arg(long, value_enum, default_value_t = Format::Table)]
    format: Format,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    Table,
    Json,
}

/// A block with what is wanted in it.
struct Planned<'a> {
    season: &'a BlockSeason,
    traps: Vec<TrapPlan>,
}

impl Plan {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let (day, _) = self.as_of.moment(&config);
        let words = config.words;
        let store = store_to_read(&config)?;
        let night = store
            .read(move |c| night(c, &config, day))
            .await
            .map_err(|error: StoreError| anyhow::Error::from(error))
            .context("recompute the seasons")?;
        let planned = self.planned(&night.seasons, &night.orchard)?;
        match self.format {
            Format::Table => print(&tables(words, &planned)),
            Format::Json => {
                let plan = json!({
                    "as_of": day,
                    "blocks": planned.iter().map(|p| block(words, p)).collect::<Vec<_>>(),
                    "year": year(),
                });
                let text = serde_json::to_string_pretty(&plan).context("write JSON")?;
                print(&format!("{text}\n"))
            }
        }
    }

    fn planned<'a>(
        &self,
        seasons: &'a [BlockSeason],
        orchard: &Orchard,
    ) -> Result<Vec<Planned<'a>>, Failure> {
        let wanted = |season: &&BlockSeason| {
            let block = self.block.as_ref();
            block.is_none_or(|block| &season.block.id == block)
        };
        let planned = seasons.iter().filter(wanted).map(|season| Planned {
            season,
            traps: trap_plan(orchard, &season.block, season.as_of),
        });
        let planned: Vec<Planned<'_>> = planned.collect();
        match &self.block {
            Some(block) if planned.is_empty() => Err(Failure::usage(anyhow::anyhow!(
                "block {block}: no such block in force"
            ))),
            _ => Ok(planned),
        }
    }
}

fn tables(words: Words, planned: &[Planned<'_>]) -> String {
    let mut traps = plain_table(["block", "acres", "traps", "hang", "wanted"]);
    for Planned {
        season,
        traps: plans,
    } in planned
    {
        let block = &season.block;
        let acres = block
            .acres
            .map_or_else(|| "–".to_owned(), |a| a.to_string());
        for plan in plans {
            traps.add_row([
                block.name.clone(),
                acres.clone(),
                plan.purpose.words().to_owned(),
                plan.hangs.to_string(),
                words.trap_plan(block, plan).join("\n"),
            ]);
        }
    }
    let mut text = format!("{traps}\n");
    for Planned { season, .. } in planned {
        for line in words.calendar_lines(season) {
            text.push_str(&format!("{}: {line}\n", season.block.name));
        }
    }
    let mut year = plain_table(["when", "what", "source"]);
    for entry in &YEAR {
        let what = match entry.whose {
            Whose::District => format!("{}: the district's date, no block's", entry.what),
            Whose::Block | Whose::Adviser => entry.what.to_owned(),
        };
        year.add_row([entry.when, &what, entry.source]);
    }
    text.push_str(&format!("\n{year}\n"));
    text
}

fn block(words: Words, planned: &Planned<'_>) -> Value {
    let block = &planned.season.block;
    let traps = planned.traps.iter().map(|plan| {
        let wanted = plan.wanted.iter().map(|wanted| {
            json!({
                "traps": wanted.traps,
                "acres_a_trap": wanted.density.acres_a_trap,
                "at_least": wanted.density.at_least,
                "source": wanted.density.source,
            })
        });
        json!({
            "traps": plan.purpose.words(),
            "asked_for": plan.asked_for,
            "hang": plan.hangs,
            "wanted": wanted.collect::<Vec<_>>(),
            "words": words.trap_plan(block, plan),
        })
    });
    json!({
        "block": block.id,
        "name": block.name,
        "crop": block.crop,
        "regime": block.regime,
        "acres": block.acres,
        "traps": traps.collect::<Vec<_>>(),
        "open": words.calendar_lines(planned.season),
    })
}

fn year() -> Vec<Value> {
    let entries = YEAR.iter().map(|entry| {
        json!({
            "when": entry.when,
            "what": entry.what,
            "whose": match entry.whose {
                Whose::Block => "block",
                Whose::District => "district",
                Whose::Adviser => "adviser",
            },
            "source": entry.source,
        })
    });
    entries.collect()
}
