//! `visits add` and `notes add`: one record, given by flags that are named as the columns.

use clap::Args;

use crate::cli::Failure;
use crate::cli::common::{ConfigDir, few_words, open_store, print};
use crate::clock;
use crate::records::{self, Cells, ImportError, Kind, Origin};
use crate::sheet::Fault;
use crate::store::entries::Applied;

/// Who enters a record, and how sure they are.
#[derive(Debug, Args)]
struct Who {
    /// Who enters it, as the history keeps it
    #[arg(long, default_value = "command line", value_parser = few_words)]
    by: String,
    /// Take it also where no real year has shown the like, such as hull split in April
    #[arg(long)]
    sure: bool,
}

#[derive(Debug, Args)]
pub(crate) struct AddVisit {
    #[command(flatten)]
    config: ConfigDir,
    /// Civil day of the visit, YYYY-MM-DD
    #[arg(long)]
    date: String,
    /// Id of the trap
    #[arg(long)]
    trap: String,
    /// Eggs counted, with those left on at the visit before
    #[arg(long)]
    eggs: Option<String>,
    /// yes when the eggs stay on the trap
    #[arg(long, alias = "eggs_left")]
    eggs_left: Option<String>,
    /// Moths of both sexes, unsexed
    #[arg(long)]
    moths: Option<String>,
    /// Males
    #[arg(long)]
    males: Option<String>,
    /// Females
    #[arg(long)]
    females: Option<String>,
    /// no when the trap could not be read
    #[arg(long)]
    readable: Option<String>,
    /// Parts replaced, of lure ppo bait liner, with blanks between them
    #[arg(long)]
    serviced: Option<String>,
    /// A remark
    #[arg(long, allow_hyphen_values = true)]
    note: Option<String>,
    #[command(flatten)]
    who: Who,
}

#[derive(Debug, Args)]
pub(crate) struct AddNote {
    #[command(flatten)]
    config: ConfigDir,
    /// Civil day it was seen or decided, YYYY-MM-DD
    #[arg(long)]
    date: String,
    /// Id of the block
    #[arg(long)]
    block: String,
    /// The variety, where the note is about one
    #[arg(long)]
    variety: Option<String>,
    /// What kind of note it is
    #[arg(long)]
    kind: String,
    /// The day that the kind carries; of shake-expected the likely one
    #[arg(long)]
    value: Option<String>,
    /// Earliest day of shaking, or of a start set by hand
    #[arg(long)]
    earliest: Option<String>,
    /// Latest day of shaking, or of a start set by hand
    #[arg(long)]
    latest: Option<String>,
    /// Trees looked at
    #[arg(long)]
    trees: Option<String>,
    /// Percent of sound nuts split in the top
    #[arg(long)]
    top: Option<String>,
    /// Percent split at middle height
    #[arg(long)]
    middle: Option<String>,
    /// Percent split low in the tree
    #[arg(long)]
    low: Option<String>,
    /// Scale of the stage: ucce, uc-ipm or letters
    #[arg(long)]
    scale: Option<String>,
    /// Stage of the foremost nuts
    #[arg(long)]
    stage: Option<String>,
    /// Mummies in a tree
    #[arg(long, alias = "in_tree")]
    in_tree: Option<String>,
    /// Mummies on the ground under a tree
    #[arg(long, alias = "on_ground")]
    on_ground: Option<String>,
    /// Nuts cracked out of a harvest sample, or looked at in a sample before harvest
    #[arg(long)]
    nuts: Option<String>,
    /// Of those, damaged by navel orangeworm
    #[arg(long)]
    orangeworm: Option<String>,
    /// By peach twig borer
    #[arg(long, alias = "twig_borer")]
    twig_borer: Option<String>,
    /// By ants
    #[arg(long)]
    ants: Option<String>,
    /// By anything else
    #[arg(long)]
    other: Option<String>,
    /// Of a sample before harvest, damaged by navel orangeworm
    #[arg(long)]
    damaged: Option<String>,
    /// Percent damaged or rejected
    #[arg(long)]
    percent: Option<String>,
    /// A remark, such as where a number comes from
    #[arg(long, allow_hyphen_values = true)]
    note: Option<String>,
    #[command(flatten)]
    who: Who,
}

impl AddVisit {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let what = format!("visit of trap {} on {}", self.trap, self.date);
        let cells = cells([
            ("date", Some(self.date)),
            ("trap", Some(self.trap)),
            ("eggs", self.eggs),
            ("eggs_left", self.eggs_left),
            ("moths", self.moths),
            ("males", self.males),
            ("females", self.females),
            ("readable", self.readable),
            ("serviced", self.serviced),
            ("note", self.note),
        ]);
        add(&self.config, Kind::Visits, cells, self.who, &what).await
    }
}

impl AddNote {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let what = format!("{} of block {} on {}", self.kind, self.block, self.date);
        let cells = cells([
            ("date", Some(self.date)),
            ("block", Some(self.block)),
            ("variety", self.variety),
            ("kind", Some(self.kind)),
            ("value", self.value),
            ("earliest", self.earliest),
            ("latest", self.latest),
            ("trees", self.trees),
            ("top", self.top),
            ("middle", self.middle),
            ("low", self.low),
            ("scale", self.scale),
            ("stage", self.stage),
            ("in_tree", self.in_tree),
            ("on_ground", self.on_ground),
            ("nuts", self.nuts),
            ("orangeworm", self.orangeworm),
            ("twig_borer", self.twig_borer),
            ("ants", self.ants),
            ("other", self.other),
            ("damaged", self.damaged),
            ("percent", self.percent),
            ("note", self.note),
        ]);
        add(&self.config, Kind::Notes, cells, self.who, &what).await
    }
}

fn cells<const N: usize>(flags: [(&'static str, Option<String>); N]) -> Cells {
    let given = flags.into_iter();
    given
        .filter_map(|(column, value)| Some((column, value?)))
        .collect()
}

async fn add(
    config: &ConfigDir,
    kind: Kind,
    cells: Cells,
    who: Who,
    what: &str,
) -> Result<(), Failure> {
    let config = config.read()?;
    let store = open_store(&config)?;
    let origin = Origin {
        file: "command line".to_owned(),
        by: who.by,
        sure: who.sure,
    };
    let applied = records::add(&store, &config, kind, cells, &origin, &clock::system()).await;
    let applied = applied.map_err(|error| match error {
        ImportError::Rows { problems, .. } => Failure::usage(anyhow::anyhow!(
            "add the {what}; nothing was stored:{}",
            flags_at_fault(&problems)
        )),
        error => error.into(),
    })?;
    let outcome = match applied {
        Applied::Added => "added",
        Applied::Changed => "changed; what stood before is in the history",
        Applied::Unchanged | Applied::Superseded => "there already",
    };
    print(&format!("{what}: {outcome}\n"))
}

/// There is one row only, so that its number says nothing.
fn flags_at_fault(problems: &[Fault]) -> String {
    let whats = problems.iter().map(Fault::what);
    whats.map(|what| format!("\n  {what}")).collect()
}
