//! What a line that was not understood probably meant.

use super::atoms::{atoms, fold};
use super::context::Context;
use super::fault::Fault;
use super::lexicon::Word;
use super::lines::State;

/// Longer lines are not mended.
const LONGEST_LINE: usize = 200;
/// Slips in one line that are mended.
const MOST_SLIPS: usize = 4;
/// One slip for every so many letters.
const LETTERS_A_SLIP: usize = 3;

/// The nearest line that is understood.
pub(super) fn probably(
    context: &Context<'_>,
    line: &str,
    fault: &Fault,
    state: &State,
) -> Option<String> {
    if line.len() > LONGEST_LINE {
        return None;
    }
    let mut mended = line.to_owned();
    let mut fault = fault.clone();
    for _ in 0..MOST_SLIPS {
        let Some(better) = better(context, &mended, &fault) else {
            break;
        };
        match context.read(&better, state) {
            Ok(read) if !read.says.is_empty() => return Some(better),
            Ok(_) => break,
            Err(next) => fault = next,
        }
        mended = better;
    }
    let named = with_name(context, line)?;
    let understood = context
        .read(&named, state)
        .is_ok_and(|read| !read.says.is_empty());
    understood.then_some(named)
}

/// The line with one slip mended.
fn better(context: &Context<'_>, line: &str, fault: &Fault) -> Option<String> {
    let (from, to) = fault.at?;
    let written = line.get(from..to)?;
    let instead = match &fault.instead {
        Some(instead) => instead.clone(),
        None if from == first_name(line) => nearest_name(context, line, written)?,
        None => {
            let known = context.lexicon.phrases(|word| {
                word.is_of_a_reading() || word.is_of_a_block() || word == Word::Because
            });
            nearest(&fold(written), known.into_iter())?.to_owned()
        }
    };
    let mended = format!("{}{instead}{}", &line[..from], &line[to..]);
    (mended != line).then_some(mended)
}

fn first_name(line: &str) -> usize {
    atoms(line)
        .into_iter()
        .find(|atom| atom.is_name())
        .map_or(0, |atom| atom.from)
}

/// The id or order that is nearest to the head of a line.
fn nearest_name(context: &Context<'_>, line: &str, written: &str) -> Option<String> {
    let folded = fold(written);
    let orders = context.lexicon.phrases(Word::is_order);
    let ids: Vec<(String, &str)> = context.names.ids().map(|id| (fold(id), id)).collect();
    let near = nearest(&folded, ids.iter().map(|(folded, _)| folded.as_str()));
    if let Some(near) = near {
        let id = ids.iter().find(|(folded, _)| folded == near);
        return id.map(|(_, id)| (*id).to_owned());
    }
    let order = nearest(&folded, orders.into_iter())?;
    line.trim_start()
        .starts_with(written)
        .then(|| order.to_owned())
}

/// The candidate that is nearest to a word, where it is near enough to be meant; the first of several.
fn nearest<'c>(word: &str, candidates: impl Iterator<Item = &'c str>) -> Option<&'c str> {
    let letters = word.chars().count();
    let slips = letters / LETTERS_A_SLIP;
    let near = candidates.filter(|candidate| candidate.chars().count().abs_diff(letters) <= slips);
    let near = near.map(|candidate| (strsim::osa_distance(word, candidate), candidate));
    let near = near.filter(|(distance, _)| *distance <= slips && *distance < letters);
    near.min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// A line that names nothing, where only one trap or block can be meant.
fn with_name(context: &Context<'_>, line: &str) -> Option<String> {
    if let Some(trap) = context.names.only_asked() {
        return Some(format!("{} {line}", trap.id));
    }
    let block = context.names.only_block()?;
    Some(format!("{block} {line}"))
}
