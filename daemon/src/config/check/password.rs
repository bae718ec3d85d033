//! The password of a login: where it stands, and reading it from there.

use std::path::Path;

use super::reader::Reader;
use super::secret_place::{Place, Wanted, mode};
use crate::config::MAIN_FILE;
use crate::config::problem::Problem;
use crate::secret::Secret;

/// The first place that holds a password: what is written down goes before what is handed in.
pub(super) fn place(
    wanted: &Wanted,
    file: Option<&Path>,
    inline: Option<&Secret>,
) -> Option<Place> {
    let file = file.map(|file| Place::File(file.to_owned()));
    let inline = || inline.map(|secret| Place::Inline(secret.clone()));
    file.or_else(inline).or_else(|| wanted.handed_in())
}

/// The password of the login in `table`, such as `mail.smtp`. That there is none is said as a warning: somebody who
/// may not read it may still look at the farm.
pub(super) fn password(
    reader: &mut Reader<'_>,
    table: &str,
    wanted: &Wanted,
    place: Option<&Place>,
) -> Result<Secret, Problem> {
    let password = match place {
        Some(place) => secret(reader, table, wanted, place),
        None => Err(reader.in_main(format!(
            "{table}.username without a password: give password_file, the credential \
             {} or the environment variable {}",
            wanted.credential, wanted.variable
        ))),
    };
    if let Err(problem) = &password {
        reader.warn(&problem.what);
    }
    password
}

fn secret(
    reader: &mut Reader<'_>,
    table: &str,
    wanted: &Wanted,
    place: &Place,
) -> Result<Secret, Problem> {
    if let Place::Inline(_) = place {
        check_inline(reader, table);
    }
    let text = wanted.text(reader, place)?;
    let secret = trimmed(&text);
    if secret.is_empty() {
        let (what, words) = (wanted.what, wanted.words(place));
        return Err(reader.in_main(format!("{what} from {words} is empty")));
    }
    if secret.len() < text.trim_end().len() {
        let what = "the blanks between the groups of the app password are left out";
        reader.warn(format!("{table}: {what}"));
    }
    Ok(Secret::new(secret))
}

/// A password may stand in the configuration only if others cannot read it there.
fn check_inline(reader: &mut Reader<'_>, table: &str) {
    let mode = mode(&reader.dir.join(MAIN_FILE)).unwrap_or(0o777);
    if mode & !0o640 == 0 {
        reader.warn(format!(
            "{table}.password: better kept in a file of its own, see password_file"
        ));
    } else {
        reader.main(format!(
            "{table}.password: this file has mode {mode:04o}; chmod 640 it, or use password_file"
        ));
    }
}

/// Without the end of the line, and without the blanks by which providers show app passwords, such
/// as `abcd efgh ijkl mnop`: at least three groups of four letters or digits.
fn trimmed(text: &str) -> String {
    let text = text.trim_end_matches(['\r', '\n']);
    let groups: Vec<&str> = text.trim().split(' ').collect();
    let shown_in_groups = groups.len() >= 3
        && groups
            .iter()
            .all(|group| group.len() == 4 && group.chars().all(|c| c.is_ascii_alphanumeric()));
    if shown_in_groups {
        groups.concat()
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_line_ends_and_the_blanks_of_app_passwords_are_left_out() {
        let check = |text, expected: &str| assert_eq!(trimmed(text), expected, "{text:?}");
        check("secret\n", "secret");
        check("secret\r\n\n", "secret");
        check(" two words ", " two words ");
        check("abcd efgh ijkl mnop\n", "abcdefghijklmnop");
        check("abcd efgh", "abcd efgh");
        check("four word pass text!", "four word pass text!");
    }
}
