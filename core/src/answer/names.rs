//! The traps and blocks that an answer may name, found as people write them.

use std::collections::{HashMap, HashSet};

use super::atoms::{Atom, Kind, atoms};
use super::lexicon::Lexicon;
use super::{Form, FormBlock, FormTrap};
use crate::id::BlockId;

/// Names are compared up to so many atoms.
const LONGEST_NAME: usize = 20;

/// A name that stands in a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Found<T> {
    /// What it names; `None` where it may be several.
    pub(super) what: Option<T>,
    /// The atom behind it.
    pub(super) end: usize,
}

/// How the atoms of a name may stand apart.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Apart {
    /// An id: a blank for a hyphen, but never before digits, which would be a count.
    Id,
    /// A name of several words.
    Name,
}

/// All names of a form.
pub(super) struct Names<'a> {
    form: &'a Form,
    traps: HashMap<String, Vec<usize>>,
    /// Traps without the name of their block.
    short: HashMap<String, Vec<usize>>,
    blocks: HashMap<String, Vec<usize>>,
    names: HashMap<String, Vec<usize>>,
    trap_by_id: HashMap<&'a str, usize>,
    asked: Vec<usize>,
    is_asked: HashSet<usize>,
}

impl<'a> Names<'a> {
    /// Looks at a form once. A short name that is a word of the trade is none.
    pub(super) fn of(form: &'a Form, lexicon: &Lexicon) -> Self {
        let mut names = Self {
            form,
            traps: HashMap::new(),
            short: HashMap::new(),
            blocks: HashMap::new(),
            names: HashMap::new(),
            trap_by_id: HashMap::new(),
            asked: Vec::new(),
            is_asked: HashSet::new(),
        };
        for (place, trap) in form.traps.iter().enumerate() {
            let id = trap.id.as_str();
            names.trap_by_id.insert(id, place);
            put(&mut names.traps, key(id), place);
            let short = without_block(id, trap.block.as_str());
            if let Some(short) = short.filter(|short| lexicon.at(&atoms(short), 0).is_none()) {
                put(&mut names.short, key(short), place);
            }
        }
        for (place, block) in form.blocks.iter().enumerate() {
            put(&mut names.blocks, key(block.id.as_str()), place);
            put(&mut names.names, key(&block.name), place);
        }
        let asked = form.asked.iter();
        names.asked = asked
            .filter_map(|id| names.trap_by_id.get(id.as_str()).copied())
            .collect();
        names.is_asked = names.asked.iter().copied().collect();
        names
    }

    /// The trap that is named at an atom, whole or, within the block that the lines before are about, without
    /// its block.
    pub(super) fn trap_at(
        &self,
        line: &[Atom],
        from: usize,
        within: Option<&BlockId>,
    ) -> Option<Found<&'a FormTrap>> {
        if let Some((end, places)) = longest(&self.traps, line, from, Apart::Id) {
            let what = only(places).map(|place| &self.form.traps[place]);
            return Some(Found { what, end });
        }
        let (end, places) = longest(&self.short, line, from, Apart::Id)?;
        let what = self
            .meant(places, within)
            .map(|place| &self.form.traps[place]);
        Some(Found { what, end })
    }

    /// Which of the traps of one short name is meant.
    fn meant(&self, places: &[usize], within: Option<&BlockId>) -> Option<usize> {
        let narrowed = |wanted: &dyn Fn(usize) -> bool| {
            let mut wanted = places.iter().copied().filter(|place| wanted(*place));
            wanted.next().filter(|_| wanted.next().is_none())
        };
        if let Some(block) = within {
            return narrowed(&|place| self.form.traps[place].block == *block);
        }
        if self.asked.is_empty() {
            return only(places).filter(|_| self.form.blocks.len() == 1);
        }
        narrowed(&|place| self.is_asked.contains(&place))
    }

    /// The block that is named at an atom, by its id or its name.
    pub(super) fn block_at(&self, line: &[Atom], from: usize) -> Option<Found<&'a FormBlock>> {
        let by_id = longest(&self.blocks, line, from, Apart::Id);
        let by_name = longest(&self.names, line, from, Apart::Name);
        let (end, places) = match (by_id, by_name) {
            (Some(id), Some(name)) if name.0 > id.0 => name,
            (Some(id), _) => id,
            (None, name) => name?,
        };
        let what = only(places).map(|place| &self.form.blocks[place]);
        Some(Found { what, end })
    }

    /// The traps of a block in the order of the mail that is answered.
    pub(super) fn asked_in(&self, block: &BlockId) -> Vec<&'a FormTrap> {
        let asked = self.asked.iter().map(|place| &self.form.traps[*place]);
        asked.filter(|trap| trap.block == *block).collect()
    }

    /// The trap, where the mail asks about a single one.
    pub(super) fn only_asked(&self) -> Option<&'a FormTrap> {
        only(&self.asked).map(|place| &self.form.traps[place])
    }

    /// The block, where the mail asks about a single one.
    pub(super) fn only_block(&self) -> Option<&'a BlockId> {
        let mut asked = self
            .asked
            .iter()
            .map(|place| &self.form.traps[*place].block);
        let first = asked.next()?;
        asked.all(|block| block == first).then_some(first)
    }

    /// All ids of traps and blocks, those that were asked for first.
    pub(super) fn ids(&self) -> impl Iterator<Item = &'a str> {
        let asked = self
            .asked
            .iter()
            .map(|place| self.form.traps[*place].id.as_str());
        let traps = self.form.traps.iter().map(|trap| trap.id.as_str());
        let blocks = self.form.blocks.iter().map(|block| block.id.as_str());
        asked.chain(traps).chain(blocks)
    }
}

fn put(map: &mut HashMap<String, Vec<usize>>, key: String, place: usize) {
    if !key.is_empty() {
        map.entry(key).or_default().push(place);
    }
}

fn only(places: &[usize]) -> Option<usize> {
    match places {
        [only] => Some(*only),
        _ => None,
    }
}

/// `E1` of `N1-E1`. One without a letter would be taken for a count, one without a digit for a word.
fn without_block<'a>(trap: &'a str, block: &str) -> Option<&'a str> {
    let prefix = trap.get(..block.len())?;
    let rest = trap.get(block.len()..)?;
    let short = rest.strip_prefix(['-', '_', '.'])?;
    let holds = |wanted: fn(&u8) -> bool| short.as_bytes().iter().any(wanted);
    let tells = holds(u8::is_ascii_alphabetic) && holds(u8::is_ascii_digit);
    (prefix.eq_ignore_ascii_case(block) && tells).then_some(short)
}

/// A name as atoms are compared: its words and numbers, without what stands between.
pub(super) fn key(name: &str) -> String {
    let mut key = String::new();
    for atom in atoms(name)
        .iter()
        .filter(|atom| atom.is_name())
        .take(LONGEST_NAME)
    {
        key.push_str(&atom.text);
        key.push(' ');
    }
    key
}

/// The longest name of a map that begins at an atom, and the atom behind it.
fn longest<'m>(
    map: &'m HashMap<String, Vec<usize>>,
    line: &[Atom],
    from: usize,
    apart: Apart,
) -> Option<(usize, &'m [usize])> {
    if !begins_name(line, from) {
        return None;
    }
    let mut key = String::new();
    let mut found = None;
    let mut at = from;
    for _ in 0..LONGEST_NAME {
        let atom = &line[at];
        key.push_str(&atom.text);
        key.push(' ');
        if ends_name(line, at)
            && let Some(places) = map.get(&key)
        {
            found = Some((at + 1, places.as_slice()));
        }
        let Some(next) = next_of_name(line, at, apart) else {
            break;
        };
        at = next;
    }
    found
}

/// Whether a name may begin with this atom: nothing that would belong to it stands right before.
pub(super) fn begins_name(line: &[Atom], at: usize) -> bool {
    let is_name = |at: usize| line.get(at).is_some_and(Atom::is_name);
    let glued_name = |at: usize| at > 0 && line[at].glued && line[at - 1].is_name();
    let behind_joint =
        |at: usize| at > 1 && line[at].glued && is_joint(&line[at - 1]) && glued_name(at - 1);
    is_name(at) && !glued_name(at) && !behind_joint(at)
}

/// Whether a name may end with this atom: nothing that would belong to it is stuck to it.
fn ends_name(line: &[Atom], at: usize) -> bool {
    match (line.get(at + 1), line.get(at + 2)) {
        (Some(next), _) if next.glued && next.is_name() => false,
        (Some(joint), Some(next)) => {
            !(joint.glued && is_joint(joint) && next.glued && next.is_name())
        }
        _ => true,
    }
}

fn is_joint(atom: &Atom) -> bool {
    atom.is('-') || atom.is('_') || atom.is('.')
}

/// The atom that may go on with a name.
fn next_of_name(line: &[Atom], at: usize, apart: Apart) -> Option<usize> {
    let next = line.get(at + 1)?;
    if next.is_name() {
        let may = next.glued || apart == Apart::Name || next.kind == Kind::Word;
        return may.then_some(at + 1);
    }
    let behind = line.get(at + 2).filter(|behind| behind.is_name())?;
    let joins = match apart {
        Apart::Id => is_joint(next) && (behind.kind == Kind::Word || next.glued && behind.glued),
        Apart::Name => !next.is('=') && !next.is(':') && !next.is(',') && !next.is('#'),
    };
    joins.then_some(at + 2)
}
