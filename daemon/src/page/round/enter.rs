//! Enters what was typed: each row by itself through the checks of a sheet, once however often it is sent.

use std::collections::BTreeSet;
use std::sync::Arc;

use duskflight_core::contents::found;
use duskflight_core::id::{PersonId, TrapId};
use duskflight_core::trapping::Visit;
use duskflight_core::wording::language::Language;
use rusqlite::Connection;

use super::typed::{Typed, TypedTrap};
use crate::config::{Config, Person};
use crate::page::opened::Opened;
use crate::page::page_error::PageError;
use crate::page::site::Site;
use crate::records::{BY_PAGE, Entered, Writer, take_back as take_all_back};
use crate::store::StoreError;
use crate::store::answers;
use crate::store::page_forms::{self, Form};
use crate::telling::waiting::name;

/// What became of a form.
#[derive(Debug)]
pub(super) struct Outcome {
    /// The short name under which its entries stand.
    pub(super) form: String,
    /// Each trap of which something was typed.
    pub(super) rows: Vec<Became>,
}

/// What became of what was typed at one trap.
#[derive(Debug)]
pub(super) struct Became {
    pub(super) trap: TrapId,
    /// Why it was not stored; `None` where it stands.
    pub(super) why: Option<String>,
    /// Whether it is stored once the person says that it is right.
    pub(super) is_asked: bool,
}

impl Became {
    /// Whether it stands.
    pub(super) const fn is_stored(&self) -> bool {
        self.why.is_none()
    }
}

impl Outcome {
    /// Whether nothing is wrong or asked.
    pub(super) fn is_all_stored(&self) -> bool {
        self.rows.iter().all(Became::is_stored)
    }
}

/// Enters what was typed at the traps of a round, in one transaction. `own` are those that they may enter readings of.
///
/// # Errors
/// They are declared no more, or the records cannot be written.
pub(super) async fn enter(
    site: &Site,
    opened: &Opened,
    person: PersonId,
    own: BTreeSet<TrapId>,
    typed: Typed,
) -> Result<Outcome, PageError> {
    let config = Arc::clone(&opened.config);
    // Whoever was taken out of the configuration meanwhile enters nothing.
    let person = config.person(&person).cloned().ok_or(PageError::NotThere)?;
    let entered = opened.store.write_at(&site.clock, move |t, at| {
        let form = format!("page-{}", typed.whole);
        let is_new = page_forms::begin(
            t,
            &Form {
                id: &form,
                person: &person.id,
                at,
            },
        )?;
        if !is_new {
            let rows = arrived_before(t, &form, &typed)?;
            return Ok(Outcome { form, rows });
        }
        let writer = Writer {
            config: &config,
            person: &person,
            answer: &form,
            via: BY_PAGE,
            sure: false,
            at,
        };
        let rows = rows(t, &config, &writer, &own, &typed)?;
        Ok::<_, StoreError>(Outcome { form, rows })
    });
    Ok(entered.await?)
}

/// Of a form whose answer was lost: what it said that does not stand by it.
fn arrived_before(
    connection: &Connection,
    form: &str,
    typed: &Typed,
) -> Result<Vec<Became>, StoreError> {
    const WHY: &str =
        "it was not stored when this form first arrived, or was changed since: look at it again";
    let stand = answers::visits_of(connection, form)?;
    let stands = |trap: &TrapId| stand.iter().any(|(of, _)| of == trap);
    let said = typed.traps.iter().filter(|(_, of)| of.says_something());
    Ok(said
        .map(|(trap, _)| Became {
            trap: trap.clone(),
            why: (!stands(trap)).then(|| WHY.to_owned()),
            is_asked: false,
        })
        .collect())
}

fn rows(
    connection: &Connection,
    config: &Config,
    writer: &Writer<'_>,
    own: &BTreeSet<TrapId>,
    typed: &Typed,
) -> Result<Vec<Became>, StoreError> {
    let mut rows = Vec::new();
    let mut to_enter: [Vec<Visit>; 2] = Default::default();
    for (trap, of_trap) in typed.traps.iter().filter(|(_, trap)| trap.says_something()) {
        match visit(own, trap, of_trap, typed) {
            Ok(visit) => to_enter[usize::from(of_trap.sure)].push(visit),
            Err(why) => rows.push(became(config, trap, Entered::Refused(why))),
        }
    }
    let mut from = 0;
    for (visits, sure) in to_enter.iter().zip([false, true]) {
        let writer = Writer { sure, ..*writer };
        let entered = writer.visits(connection, visits, from)?;
        let of_traps = visits.iter().zip(entered);
        rows.extend(of_traps.map(|(visit, entered)| became(config, &visit.trap, entered)));
        from += visits.len();
    }
    Ok(rows)
}

fn visit(
    own: &BTreeSet<TrapId>,
    trap: &TrapId,
    of_trap: &TypedTrap,
    typed: &Typed,
) -> Result<Visit, String> {
    match own.contains(trap) {
        true => of_trap.visit(trap, typed.day),
        false => Err("it is no trap of a block of yours".to_owned()),
    }
}

fn became(config: &Config, trap: &TrapId, entered: Entered<Visit>) -> Became {
    let (why, is_asked) = match entered {
        Entered::Stands { .. } => (None, false),
        Entered::Refused(why) => (Some(why), false),
        Entered::Asked(why) => (Some(why), true),
        Entered::Differs { by, stands } => {
            let by = PersonId::new(&by).map_or(by.clone(), |id| name(config, &id).to_owned());
            let found = found(Language::English, &stands);
            (Some(format!("{by} has entered {found} for this day")), true)
        }
    };
    Became {
        trap: trap.clone(),
        why,
        is_asked,
    }
}

/// Takes back what a form entered and still stands; by `person`, or where nobody signs in by whoever entered it.
///
/// # Errors
/// There is no such form of theirs, or the records cannot be written.
pub(super) async fn take_back(
    site: &Site,
    opened: &Opened,
    person: Option<PersonId>,
    form: String,
) -> Result<usize, PageError> {
    let config = Arc::clone(&opened.config);
    let taken = opened.store.write_at(&site.clock, move |t, at| {
        let by = page_forms::person_of(t, &form)?;
        let by = by.filter(|by| person.as_ref().is_none_or(|person| person == by));
        let person: Option<&Person> = by.as_ref().and_then(|by| config.person(by));
        let Some(person) = person else {
            return Ok::<_, StoreError>(None);
        };
        Ok(Some(take_all_back(t, &form, person, at)?.len()))
    });
    taken.await?.ok_or(PageError::NotThere)
}
