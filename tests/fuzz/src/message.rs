//! Whole messages of all kinds: read as the inbox reads them, then what they say as answers.

use duskflight::inbox::letter::Letter;
use duskflight_core::answer::Form;

use crate::answer::check;

/// Reads a message, and where it is a letter its text.
pub(crate) fn read(message: &[u8], form: &Form) {
    if let Ok(letter) = Letter::read(message, Some("mx.test.example")) {
        assert!(letter.text.len() <= 200_000, "{}", letter.text.len());
        check(letter.text.as_bytes(), form);
    }
}
