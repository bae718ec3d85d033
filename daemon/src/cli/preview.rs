//! `duskflight preview`: mails as they would go, without telling anyone.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::{Args, ValueEnum};
use duskflight_core::id::PersonId;

use super::Failure;
use super::common::{AsOf, ConfigDir, open_store, print};
use crate::mail::file_stem;
use crate::store::outbox::MailKind;
use crate::telling::{Draft, Purpose, TellError, night, prepare};

/// Show the mails of a day as they would go, without telling anyone
///
/// They are made with what is recorded now. A day whose records have not changed since it was told
/// gives the very mails that went.
#[derive(Debug, Args)]
pub(super) struct Preview {
    /// Which mails
    what: What,
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
    /// Write each mail as .eml, .txt and .html into this folder instead of printing its text
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum What {
    /// The advisers' morning digests
    Digest,
    /// The growers' key-date alerts
    Alerts,
}

impl Preview {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let (day, now) = self.as_of.moment(&config);
        let store = open_store(&config)?;
        let kind = match self.what {
            What::Digest => MailKind::Digest,
            What::Alerts => MailKind::Alert,
        };
        let pace = config.pace_on(day);
        let tellings = store
            .read(move |c| {
                let night = night(c, &config, day)?;
                prepare(c, &config, &night, Purpose::Preview, now)
            })
            .await
            .map_err(|error: TellError| anyhow::Error::from(error))?;
        let drafts: Vec<Draft> = tellings
            .into_iter()
            .filter_map(|telling| telling.draft)
            .filter(|draft| draft.mail.kind == kind)
            .collect();
        if drafts.is_empty() {
            let why = match pace {
                Some(_) => "nothing to tell",
                None => "out of season, when advisers get a digest once a week",
            };
            return print(&format!("no mail for {day}: {why}\n"));
        }
        for draft in &drafts {
            match &self.out {
                Some(folder) => write(folder, draft)?,
                None => print(&format!(
                    "To: {}\nSubject: {}\n\n{}\n",
                    draft.mail.address, draft.mail.subject, draft.parts.text
                ))?,
            }
        }
        Ok(())
    }
}

fn write(folder: &Path, draft: &Draft) -> Result<(), Failure> {
    let mail = &draft.mail;
    let name = file_stem(
        mail.day,
        mail.kind.name(),
        mail.person.as_str(),
        mail.adviser.as_ref().map_or("", PersonId::as_str),
    );
    fs::create_dir_all(folder).with_context(|| format!("make the folder {}", folder.display()))?;
    let parts: [(&str, &[u8]); 3] = [
        ("eml", &mail.body),
        ("txt", draft.parts.text.as_bytes()),
        ("html", draft.parts.html.as_bytes()),
    ];
    for (ending, bytes) in parts {
        let file = folder.join(format!("{name}.{ending}"));
        fs::write(&file, bytes).with_context(|| format!("write {}", file.display()))?;
        print(&format!("{}\n", file.display()))?;
    }
    Ok(())
}
