//! A file of the configuration as text.

use std::path::Path;

use crate::plain_file;

/// Why a file is no text.
pub(super) struct NoText {
    /// Where, counted from 1, unless it cannot be read at all.
    pub(super) line: Option<usize>,
    pub(super) why: String,
}

/// # Errors
/// The file cannot be read, or is in another encoding.
pub(super) fn text_of(file: &Path) -> Result<String, NoText> {
    let bytes = plain_file::read(file, plain_file::BY_HAND).map_err(|error| NoText {
        line: None,
        why: format!("cannot be read: {error}"),
    })?;
    String::from_utf8(bytes).map_err(|error| {
        let good = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        NoText {
            line: Some(1 + good.iter().filter(|byte| **byte == b'\n').count()),
            why: "a character here is not UTF-8: save the file in that encoding".to_owned(),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_character_of_another_encoding_is_found_with_its_line() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("blocks.csv");
        let check = |bytes: &[u8], line| {
            std::fs::write(&file, bytes).unwrap();
            assert_eq!(text_of(&file).map_err(|no| no.line), line);
        };
        check("id\nñ\n".as_bytes(), Ok("id\nñ\n".to_owned()));
        check(b"id\nhome\nca\xf1on\n", Err(Some(3)));
        check(b"\xff\xfei\0d\0", Err(Some(1)));
        std::fs::remove_file(&file).unwrap();
        assert_eq!(text_of(&file).map_err(|no| no.line), Err(None));
    }
}
