//! What a block may name, and what stands behind it.

use std::collections::BTreeSet;

use duskflight_core::id::{GroupId, PersonId};
use duskflight_core::insect::Insect;
use duskflight_core::notice::Role;
use duskflight_core::orchard::Block;

use super::nearest::suggestion;
use super::{MAIN_FILE, Person, Station};

/// What a block may name.
pub(super) struct Declared<'a> {
    pub(super) people: &'a [Person],
    pub(super) stations: &'a [Station],
    pub(super) insects: &'a [Insect],
    /// Groups that have an egg trap.
    pub(super) groups: BTreeSet<&'a GroupId>,
}

impl Declared<'_> {
    /// Names in a block that nothing stands behind.
    pub(super) fn faults_of(&self, block: &Block) -> Vec<String> {
        let mut wrong = Vec::new();
        wrong.extend(self.person_fault("grower", &block.grower, Role::Grower));
        wrong.extend(self.person_fault("adviser", &block.adviser, Role::Adviser));
        if !self.stations.iter().any(|s| s.id == block.station) {
            let station = &block.station;
            let near = suggestion(
                station.as_str(),
                self.stations.iter().map(|s| s.id.as_str()),
            );
            wrong.push(format!(
                "station {station}: no such station in {MAIN_FILE}{near}"
            ));
        }
        let valid = |insect: &Insect| insect.crops.contains(&block.crop);
        if !self.insects.is_empty() && !self.insects.iter().any(valid) {
            wrong.push(format!(
                "crop {}: no insect model is valid for it",
                block.crop
            ));
        }
        if block.borrows_start() && !self.groups.contains(&block.start_group) {
            let group = &block.start_group;
            let near = suggestion(group.as_str(), self.groups.iter().map(|g| g.as_str()));
            wrong.push(format!(
                "start_group {group}: no egg trap belongs to it{near}"
            ));
        }
        wrong
    }

    fn person_fault(&self, column: &str, id: &PersonId, role: Role) -> Option<String> {
        match self.people.iter().find(|person| &person.id == id) {
            None => {
                let near = suggestion(id.as_str(), self.people.iter().map(|p| p.id.as_str()));
                Some(format!(
                    "{column} {id}: no such person in {MAIN_FILE}{near}"
                ))
            }
            Some(person) if person.role != role => Some(format!(
                "{column} {id}: is no {} in {MAIN_FILE}",
                role.name()
            )),
            Some(_) => None,
        }
    }
}
