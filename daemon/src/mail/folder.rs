//! Mails as files in a folder.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

use duskflight_core::ledger::MailIdentity;

use crate::crash;
use crate::hash::hash;
use crate::plain_file;

/// Longer names of what a mail is about are cut in names of files, characters.
const LONGEST_ABOUT: usize = 40;

/// A file name without its ending, made of ids only, so that it sorts by day and can be nothing but a name.
/// Where a mail is about several advisers' blocks, it names none.
pub(crate) fn file_stem(mail: &MailIdentity) -> String {
    let (day, kind, person) = (mail.day, mail.kind.name(), &mail.person);
    let from = mail.adviser.iter().filter(|adviser| *adviser != person);
    let from: String = from.map(|adviser| format!("-from-{adviser}")).collect();
    let mark = if mail.about.is_empty() { "" } else { "-" };
    format!("{day}-{kind}-{person}{from}{mark}{}", in_name(&mail.about))
}

/// What a mail is about as part of a name: as it is where that is a short word, else changed and told apart from others
/// by its hash.
fn in_name(about: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_');
    let changed = about.chars().take(LONGEST_ABOUT);
    let changed: String = changed.map(|c| if plain(c) { c } else { '_' }).collect();
    match changed == about {
        true => changed,
        false => format!("{changed}-{}", hash(&[about.as_bytes()])),
    }
}

/// Writes a file that is there as a whole or not at all, also after a power cut.
pub(super) fn put(folder: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    let unfinished = folder.join(format!(".{name}.part"));
    let mut file = plain_file::create(&unfinished)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    crash::point("a file is written");
    fs::rename(&unfinished, folder.join(name))?;
    File::open(folder)?.sync_all()
}

#[cfg(test)]
mod tests {
    use duskflight_core::id::PersonId;
    use duskflight_core::ledger::MailKind;

    use super::*;

    #[test]
    fn rounds_of_routes_with_like_names_are_two_files() {
        let stem = |about: &str| {
            file_stem(&MailIdentity {
                kind: MailKind::Round,
                person: PersonId::new("sam").unwrap(),
                adviser: None,
                day: chrono::NaiveDate::from_ymd_opt(2022, 6, 21).unwrap(),
                about: about.to_owned(),
            })
        };
        assert_eq!(stem(""), "2022-06-21-round-sam");
        assert_eq!(stem("north-2"), "2022-06-21-round-sam-north-2");
        assert_ne!(stem("north/2"), stem("north 2"));
        assert!(stem(&"north ".repeat(99)).len() < 200);
    }

    #[test]
    fn delivering_the_same_mail_twice_leaves_one_file_with_its_bytes() {
        let dir = tempfile::tempdir().unwrap();
        let folder = dir.path().join("mail");
        put(&folder, "a.eml", b"one").unwrap();
        put(&folder, "a.eml", b"one").unwrap();
        let names: Vec<_> = fs::read_dir(&folder)
            .unwrap()
            .map(|e| e.unwrap().file_name())
            .collect();
        assert_eq!(names, ["a.eml"]);
        assert_eq!(fs::read(folder.join("a.eml")).unwrap(), b"one");
    }
}
