//! What an extension office may show of sites whose growers agreed: traps, counts of the newest week and of the season
//! so far, egg-laying starts. Names of growers, farms, blocks, stations and traps are no part of it.

use chrono::{Datelike, Days, NaiveDate};

use crate::orchard::{Crop, Orchard, Regime, Trap};
use crate::season::{BlockSeason, StartOfYear};
use crate::trapping::{Catch, EggLayingStart, StartStatus, Visits, catches};

/// Days of the newest week.
const WEEK_DAYS: u64 = 7;

/// Sites as anybody may see them.
#[derive(Debug, Clone, PartialEq)]
pub struct PublicReport {
    /// The first and the last day of the newest week.
    pub week: [NaiveDate; 2],
    /// The sites, in the order of the farm.
    pub sites: Vec<PublicSite>,
    /// Starts of this year and earlier ones, by site, the newest first.
    pub starts: Vec<PublicStart>,
}

/// One site.
#[derive(Debug, Clone, PartialEq)]
pub struct PublicSite {
    /// The name given for it.
    pub name: String,
    /// Its crop.
    pub crop: Crop,
    /// How it is kept.
    pub regime: Regime,
    /// Its catches, by kind of trap.
    pub catches: Vec<PublicCatch>,
}

/// What one kind of trap caught at a site.
#[derive(Debug, Clone, PartialEq)]
pub struct PublicCatch {
    /// In the newest week.
    pub week: Catch,
    /// In the season so far.
    pub season: Catch,
}

/// A site's egg-laying start in one year.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PublicStart {
    /// The site.
    pub site: String,
    /// The year.
    pub year: i32,
    /// How well it is known.
    pub status: StartStatus,
    /// Its day, where there is one.
    pub day: Option<NaiveDate>,
    /// The first and the last day on which laying may have begun.
    pub within: Option<[NaiveDate; 2]>,
}

/// A block that may be shown, under the name given for that.
pub struct SiteOfFarm<'a> {
    /// That name.
    pub name: String,
    /// Its season.
    pub season: &'a BlockSeason,
    /// Its starts by year, the newest first; empty where it borrows them.
    pub starts: Vec<StartOfYear>,
}

/// The sites on a day.
#[must_use]
pub fn public_report(
    orchard: &Orchard,
    visits: &Visits,
    sites: &[SiteOfFarm<'_>],
    day: NaiveDate,
) -> PublicReport {
    let from = day.checked_sub_days(Days::new(WEEK_DAYS - 1));
    let week = [from.unwrap_or(day), day];
    PublicReport {
        week,
        sites: sites
            .iter()
            .map(|of| site(orchard, visits, of, week))
            .collect(),
        starts: sites.iter().flat_map(starts).collect(),
    }
}

fn site(
    orchard: &Orchard,
    visits: &Visits,
    of: &SiteOfFarm<'_>,
    [from, to]: [NaiveDate; 2],
) -> PublicSite {
    let block = &of.season.block;
    let traps: Vec<&Trap> = orchard.traps_of(&block.id).collect();
    let new_year = to.with_ordinal(1).unwrap_or(to);
    let weeks = catches(&traps, visits, from, to);
    let pair = |season: Catch| {
        let week = weeks.iter().find(|week| week.kind == season.kind);
        let week = week.cloned().unwrap_or(Catch {
            count: 0,
            traps_read: 0,
            traps_hung: 0,
            traps_with_some: 0,
            trap_nights: 0,
            ..season.clone()
        });
        PublicCatch { week, season }
    };
    PublicSite {
        name: of.name.clone(),
        crop: block.crop,
        regime: block.regime,
        catches: catches(&traps, visits, new_year, to)
            .into_iter()
            .map(pair)
            .collect(),
    }
}

/// A site's starts; of one that borrows them this year's alone. Earlier years without one are left out.
fn starts(of: &SiteOfFarm<'_>) -> Vec<PublicStart> {
    let start = |year: i32, start: &EggLayingStart| PublicStart {
        site: of.name.clone(),
        year,
        status: start.status,
        day: start.date,
        within: start.may_have_begun(),
    };
    let this = start(of.season.year, &of.season.start);
    let earlier = of.starts.iter().filter(|of_year| of_year.year != this.year);
    let earlier = earlier.filter(|of_year| of_year.start.status.is_firm());
    let earlier = earlier.map(|of_year| start(of_year.year, &of_year.start));
    let asked = this.status != StartStatus::NotAsked;
    asked
        .then(|| this.clone())
        .into_iter()
        .chain(earlier)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::orchard::TrapKind;
    use crate::sample;
    use crate::season::tests::date;
    use crate::trapping::Visit;

    #[test]
    fn a_site_has_its_week_and_its_season_and_no_name_but_the_one_given() {
        let trap = sample::trap("secret-trap", TrapKind::Pheromone, date(2021, 4, 1));
        let orchard = Orchard::new(vec![sample::block()], vec![trap], Vec::new());
        let read = |day, males| Visit {
            males: Some(males),
            ..sample::visit("secret-trap", date(2021, 4, day))
        };
        let visits = vec![read(8, 14), read(15, 7), read(22, 21)];
        let season = sample::season(&orchard, visits.clone(), &[], date(2021, 4, 22));
        let site = SiteOfFarm {
            name: "Valley floor 3".into(),
            season: &season,
            starts: Vec::new(),
        };
        let report = public_report(&orchard, &Visits::new(visits), &[site], season.as_of);
        let caught = &report.sites[0].catches[0];
        // 21 males in the seven nights to the 22nd; 42 in three weeks.
        assert_eq!((caught.week.count, caught.week.trap_nights), (21, 7));
        assert_eq!((caught.season.count, caught.season.trap_nights), (42, 21));
        assert_eq!(report.week, [date(2021, 4, 16), date(2021, 4, 22)]);
        let shown = format!("{report:?}");
        for name in ["secret-trap", "Bench", "grower", "adviser"] {
            assert!(!shown.contains(name), "{name}");
        }
        assert!(shown.contains("Valley floor 3"));
    }
}
