//! Mails as files in a folder.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

use duskflight_core::ledger::MailIdentity;

use crate::crash;
use crate::plain_file;

/// A file name without its ending, made of ids only, so that it sorts by day and can be nothing but a name.
/// Where a mail is about several advisers' blocks, it names none.
pub(crate) fn file_stem(mail: &MailIdentity) -> String {
    let (day, kind, person) = (mail.day, mail.kind.name(), &mail.person);
    let from = mail.adviser.iter().filter(|adviser| *adviser != person);
    let from: String = from.map(|adviser| format!("-from-{adviser}")).collect();
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_');
    let about = mail.about.chars().map(|c| if plain(c) { c } else { '_' });
    let about: String = about.collect();
    let mark = if about.is_empty() { "" } else { "-" };
    format!("{day}-{kind}-{person}{from}{mark}{about}")
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
    use super::*;

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
