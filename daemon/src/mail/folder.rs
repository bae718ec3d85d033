//! Mails as files in a folder.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

use chrono::NaiveDate;

/// A file name without its ending, made of checked ids only, so that it sorts by day and can be
/// nothing but a name.
pub(crate) fn file_stem(day: NaiveDate, kind: &str, person: &str, adviser: &str) -> String {
    // Of several advisers' blocks it names none.
    if person == adviser || adviser.is_empty() {
        format!("{day}-{kind}-{person}")
    } else {
        format!("{day}-{kind}-{person}-from-{adviser}")
    }
}

/// Writes a file that is there as a whole or not at all, also after a power cut.
pub(super) fn put(folder: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    let unfinished = folder.join(format!(".{name}.part"));
    let mut file = File::create(&unfinished)?;
    file.write_all(bytes)?;
    file.sync_all()?;
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
