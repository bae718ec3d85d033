//! The word somebody probably meant.

/// The candidate nearest to a word, when it is near enough to be meant: one slip for every three
/// letters, at least one.
pub(crate) fn nearest<'a>(
    word: &str,
    candidates: impl IntoIterator<Item = &'a str>,
) -> Option<&'a str> {
    let slips = (word.chars().count() / 3).max(1);
    candidates
        .into_iter()
        .map(|candidate| (strsim::damerau_levenshtein(word, candidate), candidate))
        .filter(|(distance, _)| *distance <= slips)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// `; did you mean "x"?`, or nothing.
pub(crate) fn suggestion<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> String {
    nearest(word, candidates).map_or_else(String::new, |near| format!("; did you mean {near:?}?"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_is_recognised_and_another_word_is_not() {
        let keys = ["id", "name", "role", "email", "phone"];
        assert_eq!(nearest("emial", keys), Some("email"));
        assert_eq!(nearest("ix", keys), Some("id"));
        assert_eq!(nearest("fone", keys), None);
        assert_eq!(suggestion("nme", keys), "; did you mean \"name\"?");
        assert_eq!(suggestion("colour", keys), "");
    }
}
