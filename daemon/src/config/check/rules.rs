//! Rules, checked against what is declared.

use std::collections::BTreeSet;
use std::fmt::Display;

use duskflight_core::id::PersonId;
use duskflight_core::ledger::plan::Rule;
use duskflight_core::ledger::{EventKind, Role, Roles};
use duskflight_core::orchard::Block;

use super::reader::Reader;
use crate::config::Person;
use crate::config::file::RulePart;
use crate::config::tables::BlockRow;
use crate::nearest::suggestion;

/// Why some news goes by no rule to anybody else, and what to do.
const FOR_ADVISERS_ALONE: &str = "goes to advisers alone: an early shake is a way of control on one \
property, and only a licensed adviser tells what follows from it; take it out of this rule";

/// Reads and checks the rules against what is declared.
pub(super) fn rules(
    reader: &mut Reader<'_>,
    parts: Vec<RulePart>,
    people: &[Person],
    blocks: &[BlockRow],
    most_mails_a_day: u16,
) -> Vec<Rule> {
    let mut rules = Vec::new();
    for (part, number) in parts.into_iter().zip(1..) {
        let mut check = Check {
            reader: &mut *reader,
            number: format!("{number}"),
            people,
            blocks,
        };
        let rule = check.rule(part);
        check.recipients(&rule);
        check.reach(&rule);
        check.room(&rule, most_mails_a_day);
        rules.push(rule);
    }
    rules
}

struct Check<'a, 'b> {
    reader: &'a mut Reader<'b>,
    /// The rule's number, counted from 1.
    number: String,
    people: &'a [Person],
    blocks: &'a [BlockRow],
}

impl Check<'_, '_> {
    fn at(&mut self, key: &str, what: impl Display) {
        self.reader.at(&["rule", &self.number, key], what);
    }

    fn rule(&mut self, part: RulePart) -> Rule {
        if part.tell.is_empty() {
            let known = EventKind::ALL.map(EventKind::name).join(", ");
            self.at("tell", format!(": name at least one kind of news: {known}"));
        }
        let mut tell = Vec::new();
        for word in part.tell {
            match EventKind::from_name(&word) {
                Some(kind) => tell.push(kind),
                None => {
                    let near = suggestion(&word, EventKind::ALL.map(EventKind::name));
                    self.at("tell", format!(": {word}: no such kind of news{near}"));
                }
            }
        }
        Rule {
            people: part.people,
            growers: part.growers,
            blocks: part.blocks,
            tell,
        }
    }

    /// Somebody must hear, growers nothing that the next check may take back, and nobody but advisers what
    /// comes near advice on one property.
    fn recipients(&mut self, rule: &Rule) {
        if rule.people.is_empty() {
            self.at("people", ": nobody hears; name at least one person");
        }
        for id in &rule.people {
            match self.person(id).map(|person| person.roles.clone()) {
                None => self.unknown("people", id.as_str()),
                Some(roles) if roles.has(Role::Adviser) => {}
                Some(roles) => self.may_hear(rule, id, &roles),
            }
        }
    }

    fn may_hear(&mut self, rule: &Rule, id: &PersonId, roles: &Roles) {
        for kind in &rule.tell {
            let name = kind.name();
            if kind.is_for_advisers_alone() {
                self.at(
                    "tell",
                    format!(": {name}: {FOR_ADVISERS_ALONE} ({id}: {roles})"),
                );
            } else if kind.is_provisional() && roles.has(Role::Grower) {
                let what =
                    "is provisional, and growers hear nothing that the next check may take back";
                self.at("tell", format!(": {name}: {what} ({id} is a grower)"));
            }
        }
    }

    /// Growers and blocks must be there, and meet in at least one block.
    fn reach(&mut self, rule: &Rule) {
        for id in &rule.growers {
            match self.person(id).map(|person| person.roles.clone()) {
                None => self.unknown("growers", id.as_str()),
                Some(roles) if roles.has(Role::Grower) => {}
                Some(roles) => self.at("growers", format!(": {id}: is no grower but {roles}")),
            }
        }
        let known: BTreeSet<&str> = self
            .blocks
            .iter()
            .map(|row| row.block.id.as_str())
            .collect();
        for id in &rule.blocks {
            if !known.contains(id.as_str()) {
                let near = suggestion(id.as_str(), known.iter().copied());
                self.at(
                    "blocks",
                    format!(": {id}: no such block in blocks.csv{near}"),
                );
            }
        }
        if !self.blocks.iter().any(|row| rule.is_about(&row.block)) {
            let path = ["rule", &self.number];
            self.reader.at(
                &path,
                ": it matches no block, so it would never tell anything",
            );
        }
        self.strangers(rule);
    }

    /// A grower who hears of other growers' blocks is allowed, and rarely meant.
    fn strangers(&mut self, rule: &Rule) {
        for id in &rule.people {
            let grower = self.person(id).is_some_and(|person| {
                person.roles.has(Role::Grower) && !person.roles.has(Role::Adviser)
            });
            let mut about = self.blocks.iter().filter(|row| rule.is_about(&row.block));
            if grower && about.any(|row| &row.block.grower != id) {
                self.reader.warn(format!(
                    "rule {}: grower {id} hears of other growers' blocks; write growers = [\"{id}\"] where \
                     only their own are meant",
                    self.number
                ));
            }
        }
    }

    /// A digest is never folded, so an adviser who is also alerted needs room for a second mail.
    fn room(&mut self, rule: &Rule, most_mails_a_day: u16) {
        let adviser = |id: &&PersonId| {
            self.person(id)
                .is_some_and(|person| person.roles.has(Role::Adviser))
        };
        let adviser = rule.people.iter().find(adviser);
        if let Some(id) = adviser.filter(|_| most_mails_a_day < 2) {
            let what = format!(
                ": {id} is an adviser and gets a digest each morning; with alerts beside it \
                 telling.most_mails_a_day must be 2 or more"
            );
            self.at("people", what);
        }
    }

    fn person(&self, id: &PersonId) -> Option<&Person> {
        self.people.iter().find(|person| &person.id == id)
    }

    fn unknown(&mut self, key: &str, id: &str) {
        let near = suggestion(id, self.people.iter().map(|person| person.id.as_str()));
        self.at(key, format!(": {id}: no such person{near}"));
    }
}

/// Warns of people who would never get a mail.
pub(super) fn warn_of_the_silent(
    reader: &mut Reader<'_>,
    people: &[Person],
    blocks: &[BlockRow],
    rules: &[Rule],
) {
    let named = |id: &PersonId| rules.iter().any(|rule| rule.names(id));
    for person in people.iter().filter(|person| !named(&person.id)) {
        let id = &person.id;
        let any = |of: &dyn Fn(&Block) -> bool| blocks.iter().any(|row| of(&row.block));
        let roles = &person.roles;
        let is_grower = roles.has(Role::Grower) && any(&|block| block.grower == *id);
        let is_adviser = roles.has(Role::Adviser) && any(&|block| block.is_advised_by(id));
        let is_scout = roles.has(Role::Scout) && any(&|block| block.scouts.contains(id));
        let reads = roles.has(Role::Manager) && person.letter.is_some();
        if is_grower || is_adviser || is_scout || reads {
            continue;
        }
        let why = match (roles.has(Role::Adviser), roles.has(Role::Grower)) {
            (true, _) => "advises no block and is named in no rule",
            (_, true) => "has no block and is named in no rule",
            _ if roles.has(Role::Scout) => "walks no block and is named in no rule",
            _ if roles.has(Role::Manager) => "has no day for the letter and is named in no rule",
            _ => "is named in no rule",
        };
        reader.warn(format!("person {id}: {why}, and so gets no mail"));
    }
}
