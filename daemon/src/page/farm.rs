//! The farm: the season at a glance, and a row for each block, chosen and sorted by link.

use std::cmp::Ordering;
use std::collections::BTreeSet;

use askama::Template;
use axum::extract::Query;
use axum::response::Html;
use duskflight_core::contents::{BlockRow, Chart, FarmRow, LookAt, glance_chart};
use duskflight_core::id::PersonId;
use duskflight_core::orchard::Crop;
use duskflight_core::season::BlockSeason;
use duskflight_core::wording::plural;
use serde::{Deserialize, Serialize};

use super::frame::{Choice, Frame};
use super::framed::framed;
use super::guest::Guest;
use super::page_error::PageError;
use crate::chart;
use crate::telling::waiting::name;

/// A picture shows so many rows that can still be read, and so many stand on one page.
const ROWS_A_PAGE: usize = 40;

/// What is chosen of the farm.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize, Serialize)]
#[serde(default)]
pub(super) struct Chosen {
    /// A part of a block's name or id.
    #[serde(skip_serializing_if = "String::is_empty")]
    find: String,
    /// The id of a grower.
    #[serde(skip_serializing_if = "String::is_empty")]
    grower: String,
    /// A route.
    #[serde(skip_serializing_if = "String::is_empty")]
    route: String,
    /// A crop.
    #[serde(skip_serializing_if = "String::is_empty")]
    crop: String,
    /// Whether only blocks with something to say.
    #[serde(skip_serializing_if = "String::is_empty")]
    saying: String,
    /// The column it is sorted by, with a dash before it where the last comes first.
    #[serde(skip_serializing_if = "String::is_empty")]
    sort: String,
    /// Which page of rows, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    part: Option<usize>,
}

/// The columns that rows are sorted by.
const COLUMNS: [(&str, &str); 7] = [
    ("block", "Block"),
    ("start", "Egg-laying start"),
    ("next", "Next"),
    ("caught", "Last reading"),
    ("split", "Hull split, shake"),
    ("due", "Traps due"),
    ("look", "To look at"),
];

#[derive(Template)]
#[template(path = "page/farm.html")]
struct Page<'a> {
    frame: Frame,
    chosen: &'a Chosen,
    growers: Vec<Choice>,
    routes: Vec<Choice>,
    crops: Vec<Choice>,
    /// What is shown of how many.
    shown: String,
    picture: Option<String>,
    heads: Vec<Head>,
    rows: Vec<Row<'a>>,
    before: Option<String>,
    after: Option<String>,
}

/// The head of a column.
struct Head {
    words: &'static str,
    to: String,
    /// How the rows are sorted by it.
    sorted: Option<&'static str>,
}

struct Row<'a> {
    cells: BlockRow,
    grower: String,
    insect: &'a str,
    look_at: Vec<LookAt>,
}

/// `GET /`
pub(super) async fn farm(
    guest: Guest,
    Query(chosen): Query<Chosen>,
) -> Result<Html<String>, PageError> {
    Ok(Html(page(&guest, &chosen)?))
}

fn page(guest: &Guest, chosen: &Chosen) -> Result<String, PageError> {
    let config = &guest.view.config;
    let words = config.words;
    let seasons = guest.seasons();
    let (growers, routes, crops) = choices(guest, &seasons, chosen);
    let mut rows = rows(guest, &seasons, chosen);
    sort(&mut rows, &chosen.sort);
    let parts = rows.len().div_ceil(ROWS_A_PAGE).max(1);
    let part = chosen.part.unwrap_or(1).clamp(1, parts);
    let of_part: Vec<&FarmRow<'_>> = rows
        .iter()
        .skip((part - 1) * ROWS_A_PAGE)
        .take(ROWS_A_PAGE)
        .collect();
    let drawn: Vec<&BlockSeason> = of_part.iter().map(|row| row.season).collect();
    let only_firm = !drawn
        .iter()
        .all(|season| guest.looks().advises_or_minds(&season.block));
    let picture = glance_chart(words, &drawn, guest.view.day(), only_firm).map(|glance| {
        let to = |block: &_| Some(format!("/block/{block}"));
        chart::svg_with_links(&Chart::Glance(glance), &to)
    });
    let beside = |part: usize| {
        (1..=parts)
            .contains(&part)
            .then(|| chosen.with_part(part).to())
    };
    let page = Page {
        frame: framed(guest, "Farm", "/"),
        chosen,
        growers,
        routes,
        crops,
        shown: shown(rows.len(), seasons.len(), [part, parts]),
        picture,
        heads: heads(chosen),
        rows: of_part
            .into_iter()
            .map(|row| Row {
                cells: row.cells(words),
                grower: name(config, &row.season.block.grower).to_owned(),
                insect: row.season.insect.as_str(),
                look_at: row.look_at(words),
            })
            .collect(),
        before: beside(part.wrapping_sub(1)),
        after: beside(part + 1),
    };
    Ok(page.render()?)
}

fn shown(rows: usize, all: usize, [part, parts]: [usize; 2]) -> String {
    let blocks = match rows == all {
        true => plural(all, "block"),
        false => format!("{rows} of {}", plural(all, "block")),
    };
    match parts {
        1 => blocks,
        _ => format!("{blocks}, part {part} of {parts}"),
    }
}

impl Chosen {
    /// The address of a page with this choice.
    fn to(&self) -> String {
        match serde_urlencoded::to_string(self) {
            Ok(query) if !query.is_empty() => format!("/?{query}"),
            _ => "/".to_owned(),
        }
    }

    fn with_part(&self, part: usize) -> Self {
        Self {
            part: (part > 1).then_some(part),
            ..self.clone()
        }
    }

    fn sorted_by(&self, column: &str) -> Self {
        let down = format!("-{column}");
        Self {
            sort: match self.sort == column {
                true => down,
                false => column.to_owned(),
            },
            part: None,
            ..self.clone()
        }
    }
}

fn heads(chosen: &Chosen) -> Vec<Head> {
    let head = |(column, words): (&str, &'static str)| Head {
        words,
        to: chosen.sorted_by(column).to(),
        sorted: match chosen.sort.strip_prefix('-') {
            Some(sorted) => (sorted == column).then_some("descending"),
            None => (chosen.sort == column).then_some("ascending"),
        },
    };
    COLUMNS.into_iter().map(head).collect()
}

fn choices(
    guest: &Guest,
    seasons: &[&BlockSeason],
    chosen: &Chosen,
) -> (Vec<Choice>, Vec<Choice>, Vec<Choice>) {
    let config = &guest.view.config;
    let of = |all: BTreeSet<(String, String)>, chosen: &str| -> Vec<Choice> {
        let choice = |(words, value): (String, String)| Choice {
            is_chosen: value == chosen,
            words,
            value,
        };
        // One alone is no choice.
        if all.len() < 2 {
            Vec::new()
        } else {
            all.into_iter().map(choice).collect()
        }
    };
    let growers: BTreeSet<&PersonId> = seasons.iter().map(|season| &season.block.grower).collect();
    let growers = growers
        .into_iter()
        .map(|grower| (name(config, grower).to_owned(), grower.to_string()));
    let readings = seasons.iter().flat_map(|season| &season.work.readings);
    let routes: BTreeSet<&str> = readings.map(|reading| reading.route.as_str()).collect();
    let routes = routes.into_iter().filter(|route| !route.is_empty());
    let routes = routes.map(|route| (route.to_owned(), route.to_owned()));
    let crops: BTreeSet<Crop> = seasons.iter().map(|season| season.block.crop).collect();
    let crops = crops
        .into_iter()
        .map(|crop| (crop.to_string(), crop.to_string()));
    (
        of(growers.collect(), &chosen.grower),
        of(routes.collect(), &chosen.route),
        of(crops.collect(), &chosen.crop),
    )
}

/// The rows that are chosen.
fn rows<'a>(guest: &Guest, seasons: &[&'a BlockSeason], chosen: &Chosen) -> Vec<FarmRow<'a>> {
    let looks = guest.looks();
    let find = chosen.find.trim().to_lowercase();
    let is_chosen = |season: &&BlockSeason| {
        let block = &season.block;
        let mut readings = season.work.readings.iter();
        (find.is_empty()
            || block.name.to_lowercase().contains(&find)
            || block.id.as_str().to_lowercase().contains(&find))
            && (chosen.grower.is_empty() || block.grower.as_str() == chosen.grower)
            && (chosen.crop.is_empty() || block.crop.to_string() == chosen.crop)
            && (chosen.route.is_empty() || readings.any(|reading| reading.route == chosen.route))
    };
    let row = |season: &&'a BlockSeason| {
        let is_asked = guest.view.undecided.contains(&season.block.id);
        FarmRow::of(season, is_asked, looks.advises_or_minds(&season.block))
    };
    let rows = seasons.iter().filter(|season| is_chosen(season)).map(row);
    rows.filter(|row| chosen.saying.is_empty() || row.says)
        .collect()
}

/// Sorts rows; those that have nothing in a column come last, whichever way.
fn sort(rows: &mut [FarmRow<'_>], by: &str) {
    let (column, down) = match by.strip_prefix('-') {
        Some(column) => (column, true),
        None => (by, false),
    };
    let way = |order: Ordering| if down { order.reverse() } else { order };
    match column {
        "block" => rows.sort_by(|a, b| way(a.season.block.name.cmp(&b.season.block.name))),
        "start" => rows.sort_by(|a, b| known_first(a.start, b.start, way)),
        "next" => rows.sort_by(|a, b| known_first(a.next, b.next, way)),
        "caught" => rows.sort_by(|a, b| {
            let bits = |row: &FarmRow<'_>| row.caught.map(|rate| rate.max(0.0).to_bits());
            // The highest first.
            known_first(bits(a), bits(b), |order| way(order.reverse()))
        }),
        "split" => rows.sort_by(|a, b| known_first(a.split, b.split, way)),
        "due" => rows.sort_by(|a, b| known_first(a.due, b.due, way)),
        "look" => rows.sort_by(|a, b| way(b.to_look_at.cmp(&a.to_look_at))),
        _ => {}
    }
}

fn known_first<T: Ord>(a: Option<T>, b: Option<T>, way: impl Fn(Ordering) -> Ordering) -> Ordering {
    match (a, b) {
        (Some(a), Some(b)) => way(a.cmp(&b)),
        (Some(_), None) => Ordering::Less,
        (None, Some(_)) => Ordering::Greater,
        (None, None) => Ordering::Equal,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sorted(by: &str, rows: &[Option<u32>]) -> Vec<Option<u32>> {
        let down = by.starts_with('-');
        let way = |order: Ordering| if down { order.reverse() } else { order };
        let mut rows = rows.to_vec();
        rows.sort_by(|a, b| known_first(*a, *b, way));
        rows
    }

    #[test]
    fn what_has_nothing_in_a_column_comes_last_whichever_way() {
        let rows = [Some(2), None, Some(1), Some(3)];
        assert_eq!(sorted("x", &rows), [Some(1), Some(2), Some(3), None]);
        assert_eq!(sorted("-x", &rows), [Some(3), Some(2), Some(1), None]);
    }

    #[test]
    fn a_choice_is_an_address_and_another_column_begins_at_the_first_part() {
        let chosen = Chosen {
            find: "a b&c".to_owned(),
            part: Some(3),
            ..Chosen::default()
        };
        assert_eq!(Chosen::default().to(), "/");
        assert_eq!(chosen.to(), "/?find=a+b%26c&part=3");
        assert_eq!(chosen.with_part(1).to(), "/?find=a+b%26c");
        let once = chosen.sorted_by("due");
        assert_eq!(once.to(), "/?find=a+b%26c&sort=due");
        assert_eq!(once.sorted_by("due").sort, "-due");
        assert_eq!(once.sorted_by("due").sorted_by("due").sort, "due");
    }

    #[test]
    fn the_head_of_the_column_that_is_sorted_by_says_so() {
        let of = |sort: &str| {
            let chosen = Chosen {
                sort: sort.to_owned(),
                ..Chosen::default()
            };
            let heads = heads(&chosen);
            let head = heads.iter().find(|head| head.words == "Traps due");
            head.unwrap().sorted
        };
        assert_eq!(of(""), None);
        assert_eq!(of("due"), Some("ascending"));
        assert_eq!(of("-due"), Some("descending"));
        assert_eq!(of("next"), None);
    }

    #[test]
    fn it_is_said_how_many_are_shown_of_how_many() {
        assert_eq!(shown(1, 1, [1, 1]), "1 block");
        assert_eq!(shown(2, 12, [1, 1]), "2 of 12 blocks");
        assert_eq!(shown(90, 90, [2, 3]), "90 blocks, part 2 of 3");
    }
}
