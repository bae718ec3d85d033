//! `duskflight preview`: mails as they would go, without telling anyone.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::{Context, anyhow};
use chrono::{DateTime, NaiveDate, Utc};
use clap::Args;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use duskflight_core::id::PersonId;

use super::common::{AsOf, ConfigDir, print, store_to_read};
use super::{Failure, test_mail};
use crate::config::Config;
use crate::mail::file_stem;
use crate::mail::message::{Composed, Parts, cid};
use crate::plain_file;
use crate::store::outbox::NewMail;
use crate::telling::{Draft, Purpose, TellError, night, prepare};
use duskflight_core::ledger::MailKind;
use duskflight_core::wording::mail_kind_meaning;

/// Show the mails of a day as they would go, without telling anyone
///
/// They are made with what is recorded now. A day whose records have not changed since it was told
/// gives the very mails that went.
#[derive(Debug, Args)]
pub(super) struct Preview {
    /// Which kind of mail
    #[arg(value_parser = kind_parser())]
    kind: MailKind,
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
    /// Only to this person
    #[arg(long, value_name = "PERSON")]
    person: Option<PersonId>,
    /// Write each mail as .eml, .txt and .html, with its pictures and files, into this folder instead of
    /// printing its text
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
}

/// `alerts` is what the command was called with at first.
fn kind_parser() -> impl TypedValueParser<Value = MailKind> {
    let word = |kind: MailKind| {
        let word = PossibleValue::new(kind.name()).help(mail_kind_meaning(kind));
        match kind {
            MailKind::Alert => word.alias("alerts"),
            _ => word,
        }
    };
    let kinds = MailKind::ALL.into_iter();
    let of_a_night = |kind: &MailKind| !matches!(kind, MailKind::Operator | MailKind::Receipt);
    let shown = kinds.filter(of_a_night).map(word);
    PossibleValuesParser::new(shown.collect::<Vec<_>>()).try_map(move |given| {
        let said = |kind: &MailKind| word(*kind).matches(&given, false);
        let kind = MailKind::ALL.into_iter().find(said);
        kind.ok_or("no such kind of mail")
    })
}

impl Preview {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let (day, now) = self.as_of.moment(&config);
        if let Some(id) = &self.person
            && config.person(id).is_none()
        {
            return Err(Failure::usage(anyhow!(
                "person {id}: no such person in the configuration"
            )));
        }
        let mut drafts = drafts(&config, self.kind, day, now).await?;
        drafts.retain(|draft| {
            self.person
                .as_ref()
                .is_none_or(|id| *id == draft.mail.person)
        });
        if drafts.is_empty() {
            let why = match config.pace_on(day) {
                Some(_) => "nothing to tell",
                None => "out of season, when advisers get a digest once a week",
            };
            return print(&format!("no mail for {day}: {why}\n"));
        }
        for Draft { mail, contents } in &drafts {
            let composed = contents.compose(&mail.message_id);
            let composed = composed.with_context(|| format!("compose {}", mail.message_id))?;
            match &self.out {
                Some(folder) => write(folder, mail, &composed)?,
                None => print(&format!(
                    "To: {}\nSubject: {}\n\n{}\n",
                    mail.address, mail.subject, composed.parts.text
                ))?,
            }
        }
        Ok(())
    }
}

async fn drafts(
    config: &Arc<Config>,
    kind: MailKind,
    day: NaiveDate,
    now: DateTime<Utc>,
) -> Result<Vec<Draft>, Failure> {
    if kind == MailKind::Test {
        let people = config.people.iter();
        return Ok(people
            .map(|person| test_mail::draft(config, person, now))
            .collect());
    }
    let purpose = match kind {
        MailKind::Letter => Purpose::PreviewLetters,
        _ => Purpose::Preview,
    };
    let (store, config) = (store_to_read(config)?, Arc::clone(config));
    let tellings = store
        .read(move |c| {
            let night = night(c, &config, day)?;
            prepare(c, &config, &night, purpose, now)
        })
        .await
        .map_err(|error: TellError| anyhow::Error::from(error))?;
    let drafts = tellings.into_iter().filter_map(|telling| telling.draft);
    Ok(drafts.filter(|draft| draft.mail.kind == kind).collect())
}

fn write(folder: &Path, mail: &NewMail, composed: &Composed) -> Result<(), Failure> {
    let Composed { parts, bytes } = composed;
    let stem = file_stem(&mail.identity());
    fs::create_dir_all(folder).with_context(|| format!("make the folder {}", folder.display()))?;
    let html = html_beside_pictures(parts, &mail.message_id, &stem);
    let mut files: Vec<(String, &[u8])> = vec![
        (format!("{stem}.eml"), bytes),
        (format!("{stem}.txt"), parts.text.as_bytes()),
        (format!("{stem}.html"), html.as_bytes()),
    ];
    let pictures = parts.pictures.iter();
    files.extend(pictures.map(|picture| (picture_file(&stem, &picture.name), &picture.png[..])));
    for (place, file) in parts.files.iter().enumerate() {
        let ending = Path::new(&file.name).extension().and_then(|e| e.to_str());
        // A name in a mail may be anything; here it is a number.
        let name = format!("{stem}-{}.{}", place + 1, safe_ending(ending));
        files.push((name, file.text.as_bytes()));
    }
    for (name, bytes) in files {
        let file = folder.join(name);
        plain_file::write(&file, bytes).with_context(|| format!("write {}", file.display()))?;
        print(&format!("{}\n", file.display()))?;
    }
    Ok(())
}

/// The HTML part with its pictures taken from the files beside it.
fn html_beside_pictures(parts: &Parts, message_id: &str, stem: &str) -> String {
    parts
        .pictures
        .iter()
        .fold(parts.html.clone(), |html, picture| {
            let inside = format!("cid:{}", cid(&picture.name, message_id));
            html.replace(&inside, &picture_file(stem, &picture.name))
        })
}

fn picture_file(stem: &str, picture: &str) -> String {
    format!("{stem}-{picture}.png")
}

fn safe_ending(ending: Option<&str>) -> &str {
    let plain = |ending: &&str| ending.bytes().all(|byte| byte.is_ascii_alphanumeric());
    ending.filter(plain).unwrap_or("txt")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mail::message::{File, Picture};

    #[test]
    fn pictures_and_files_stand_beside_a_page_that_shows_them() {
        let id = "<alert.2022-06-20.ab@farm.example>";
        let picture = Picture {
            name: "heat".to_owned(),
            png: vec![1, 2],
        };
        let file = File {
            name: "../../first hatch.ics".to_owned(),
            media_type: "text/calendar".to_owned(),
            text: "BEGIN:VCALENDAR\r\n".to_owned(),
        };
        let parts = Parts {
            html: format!("<img src=\"cid:{}\">", cid("heat", id)),
            pictures: vec![picture],
            files: vec![file],
            ..Parts::default()
        };
        let mail = NewMail {
            message_id: id.to_owned(),
            kind: MailKind::Alert,
            person: PersonId::new("gil").unwrap(),
            adviser: Some(PersonId::new("ada").unwrap()),
            day: NaiveDate::from_ymd_opt(2022, 6, 20).unwrap(),
            address: "gil@farm.example".to_owned(),
            subject: String::new(),
            about: String::new(),
            body: None,
            queued_at: DateTime::UNIX_EPOCH,
            contents: None,
            waits_for: Vec::new(),
            hold_s: 0,
        };
        let bytes = b"whole".to_vec();
        let dir = tempfile::tempdir().unwrap();
        write(dir.path(), &mail, &Composed { parts, bytes }).unwrap();
        let stem = "2022-06-20-alert-gil-from-ada";
        let read = |ending: &str| fs::read(dir.path().join(format!("{stem}{ending}"))).unwrap();
        let page = String::from_utf8(read(".html")).unwrap();
        assert_eq!(page, format!("<img src=\"{stem}-heat.png\">"));
        assert_eq!(read("-heat.png"), [1, 2]);
        assert_eq!(read("-1.ics"), b"BEGIN:VCALENDAR\r\n");
        assert_eq!(read(".eml"), b"whole");
    }
}
