//! Whole numbers as people and phones write them.

use super::atoms::{Atom, Kind};
use super::fault::Fault;

/// More digits are no count.
const MOST_DIGITS: usize = 6;

/// A whole count, and the atom behind it and behind a full stop that closes it.
///
/// # Errors
/// Where it is no whole number: with decimals, with a letter for a digit, or too long.
pub(super) fn count(values: &[Atom], from: usize) -> Result<(u32, usize), Fault> {
    let number = &values[from];
    let glued = |at: usize| values.get(at).filter(|atom| atom.glued);
    if let Some(letters) = glued(from + 1).filter(|next| next.kind == Kind::Word)
        && let Some(digits) = as_digits(&letters.text)
    {
        let fault = Fault::at(&values[from..from + 2]);
        return Err(fault.instead(format!("{}{digits}", number.text)));
    }
    let parted = glued(from + 1).is_some_and(|mark| mark.is('.') || mark.is(','));
    if parted && glued(from + 2).is_some_and(|more| more.kind == Kind::Number) {
        let fault = Fault::at(&values[from..from + 3]);
        return Err(fault.instead(number.text.clone()));
    }
    match number.text.parse() {
        Ok(count) if number.text.len() <= MOST_DIGITS => {
            let stop = glued(from + 1).is_some_and(|mark| mark.is('.'));
            Ok((count, from + 1 + usize::from(stop)))
        }
        _ => Err(Fault::at(&values[from..=from])),
    }
}

/// The digits that letters were typed for.
pub(super) fn as_digits(letters: &str) -> Option<String> {
    let digit = |letter| match letter {
        'o' => Some('0'),
        'l' | 'i' => Some('1'),
        _ => None,
    };
    letters.chars().map(digit).collect()
}

/// A number of a list without blanks, `12,0,0,3`: of two it could be one with decimals, and of groups of three
/// digits one of thousands.
pub(super) fn listed(values: &[Atom], at: usize) -> Option<u32> {
    let is_link = |at: usize| {
        let comma = values
            .get(at)
            .is_some_and(|comma| comma.glued && comma.is(','));
        comma
            && values
                .get(at + 1)
                .is_some_and(|next| next.glued && next.kind == Kind::Number)
    };
    let mut first = at;
    while first >= 2 && is_link(first - 1) {
        first -= 2;
    }
    let mut last = at;
    while is_link(last + 1) {
        last += 2;
    }
    let mut behind = values[first..=last].iter().skip(2).step_by(2);
    let thousands = behind.all(|group| group.text.len() == 3);
    (last - first >= 4 && !thousands && values[at].text.len() <= MOST_DIGITS)
        .then(|| values[at].text.parse().ok())
        .flatten()
}
