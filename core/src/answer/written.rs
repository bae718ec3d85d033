//! What of an answer was written, and what is quoted and can only have been filled in.

use super::headers::{Announces, announced};
use crate::wording::form::{BEGINS, ENDS};
use crate::wording::language::Language;

/// Where a line of an answer stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// It was written.
    Own,
    /// In a signature: what is not understood there means nothing.
    Signature,
    /// In the mail that is answered: only what stands behind a sign to fill in was written.
    Quoted,
}

/// A line and where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Written<'a> {
    /// Without signs of quoting.
    pub(super) text: &'a str,
    /// Where it stands.
    pub(super) place: Place,
}

/// What the lines without a sign of quoting are.
#[derive(Clone, Copy, PartialEq, Eq)]
enum State {
    Own,
    Signature,
    /// The mail that is answered.
    Below,
    /// A mail before it, whose lines were taken when they came.
    Older,
}

/// The lines of an answer; those of mails before the one that is answered are left out.
pub(super) fn written<'a>(text: &'a str, tells: &dyn Fn(&str) -> bool) -> Vec<Written<'a>> {
    let lines: Vec<(usize, &str)> = text.split('\n').flat_map(unquoted).collect();
    let plain = lines
        .iter()
        .map(|(depth, line)| if *depth == 0 { line } else { "" });
    let plain: Vec<&str> = plain.collect();
    let mut written = Vec::new();
    let mut state = State::Own;
    let mut at = 0;
    while let Some((depth, line)) = lines.get(at) {
        let mut lines_taken = 1;
        match (depth, *line) {
            (0, BEGINS | ENDS) => state = marked(line, state),
            (0, line) => match announced(&plain, at, tells) {
                Announces::Nothing => put(&mut written, line, state),
                Announces::Nonsense => {}
                Announces::Signature if state == State::Own => state = State::Signature,
                Announces::Signature => {}
                Announces::Quoted {
                    lines: so_many,
                    written: before,
                } => {
                    put(&mut written, &line[..before], state);
                    lines_taken = so_many;
                    state = behind(state, &lines[at + so_many..]);
                }
            },
            // In a mail that is quoted without signs it was quoted before: that was taken when it came.
            (1, line) if matches!(state, State::Own | State::Signature) => {
                push(&mut written, line, Place::Quoted);
            }
            _ => {}
        }
        at += lines_taken;
    }
    written
}

/// How often a line is quoted, and its text; the words that say where a mail begins and ends as lines of their own.
fn unquoted(line: &str) -> Vec<(usize, &str)> {
    let mut depth = 0;
    let mut rest = line.trim();
    while let Some(inside) = rest.strip_prefix('>') {
        depth += 1;
        rest = inside.trim_start();
    }
    let mut parts = Vec::new();
    let next = |rest: &str| {
        let found = [BEGINS, ENDS]
            .into_iter()
            .filter_map(|mark| Some((rest.find(mark)?, mark)));
        found.min()
    };
    while let Some((at, mark)) = next(rest) {
        if !rest[..at].trim().is_empty() {
            parts.push((depth, rest[..at].trim_end()));
        }
        parts.push((depth, mark));
        rest = rest[at + mark.len()..].trim_start();
        if mark == ENDS {
            rest = behind_words(rest);
        }
    }
    parts.push((depth, rest));
    parts
}

/// What follows the words that say where the mail ends, in whatever language they are.
fn behind_words(text: &str) -> &str {
    let mut ends = Language::ALL
        .into_iter()
        .map(|language| language.words().answer.form_ends);
    ends.find_map(|words| text.strip_prefix(words))
        .unwrap_or(text)
}

/// What the lines without a sign of quoting are behind such a word.
fn marked(mark: &str, state: State) -> State {
    match state {
        State::Older => State::Older,
        _ if mark == BEGINS => State::Below,
        _ => State::Own,
    }
}

/// What the lines without a sign of quoting are behind an announcement.
fn behind(state: State, lines: &[(usize, &str)]) -> State {
    let next = lines
        .iter()
        .find(|(depth, line)| *depth > 0 || !line.is_empty());
    let with_signs = next.is_some_and(|(depth, _)| *depth > 0);
    match state {
        State::Own | State::Signature if with_signs => state,
        State::Own | State::Signature => State::Below,
        State::Below | State::Older => State::Older,
    }
}

fn put<'a>(written: &mut Vec<Written<'a>>, line: &'a str, state: State) {
    match state {
        State::Own => push(written, line, Place::Own),
        State::Signature => push(written, line, Place::Signature),
        State::Below => push(written, line, Place::Quoted),
        State::Older => {}
    }
}

fn push<'a>(written: &mut Vec<Written<'a>>, line: &'a str, place: Place) {
    let text = line.trim();
    if !text.is_empty() {
        written.push(Written { text, place });
    }
}
