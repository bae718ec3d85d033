//! What a block may name, and what stands behind it.

use std::collections::BTreeSet;

use duskflight_core::id::{GroupId, PersonId};
use duskflight_core::insect::Insect;
use duskflight_core::ledger::Role;
use duskflight_core::orchard::{Block, Crop};

use crate::config::{MAIN_FILE, Person, Station};
use crate::nearest::suggestion;

/// What a block may name.
pub(super) struct Declared<'a> {
    pub(super) people: &'a [Person],
    pub(super) stations: &'a [Station],
    pub(super) insects: &'a [Insect],
    /// The crops that insect files name, also files with other faults; `None` where one could not be
    /// read.
    pub(super) crops: Option<BTreeSet<Crop>>,
    /// Groups that have an egg trap.
    pub(super) groups: BTreeSet<&'a GroupId>,
}

impl Declared<'_> {
    /// Names in a block that nothing stands behind.
    pub(super) fn faults_of(&self, block: &Block) -> Vec<String> {
        let mut wrong = Vec::new();
        wrong.extend(self.person_fault("grower", &block.grower, Role::Grower));
        let advisers = std::iter::once(&block.adviser).chain(&block.advised_beside);
        wrong.extend(advisers.filter_map(|id| self.person_fault("adviser", id, Role::Adviser)));
        let scouts = block.scouts.iter();
        wrong.extend(scouts.filter_map(|id| self.person_fault("scout", id, Role::Scout)));
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
        wrong.extend(self.pairing_fault(block));
        if block.borrows_start() && !self.groups.contains(&block.start_group) {
            let group = &block.start_group;
            let near = suggestion(group.as_str(), self.groups.iter().map(|g| g.as_str()));
            wrong.push(format!(
                "start_group {group}: no egg trap belongs to it{near}"
            ));
        }
        wrong
    }

    /// A crop that no insect model is valid for, or a start that the crop's model does not ask for.
    fn pairing_fault(&self, block: &Block) -> Option<String> {
        let crop = block.crop;
        if let Some(crops) = self.crops.as_ref().filter(|crops| !crops.contains(&crop)) {
            let named: Vec<String> = crops.iter().map(Crop::to_string).collect();
            return Some(format!(
                "crop {crop}: no insect model is valid for it; those named in {MAIN_FILE} are for {}",
                named.join(", ")
            ));
        }
        let mut of_crop = self.insects.iter();
        let insect = of_crop.find(|insect| insect.crops.contains(&crop))?;
        let names_start = block.borrows_start() || block.start_rule.is_some();
        (insect.start.is_none() && names_start).then(|| {
            format!("start_group, start_rule: no date in {crop} counts from an egg-laying start; leave both out")
        })
    }

    fn person_fault(&self, column: &str, id: &PersonId, role: Role) -> Option<String> {
        match self.people.iter().find(|person| &person.id == id) {
            None => {
                let near = suggestion(id.as_str(), self.people.iter().map(|p| p.id.as_str()));
                Some(format!(
                    "{column} {id}: no such person in {MAIN_FILE}{near}"
                ))
            }
            Some(person) if !person.roles.has(role) => Some(format!(
                "{column} {id}: is no {} in {MAIN_FILE}",
                role.name()
            )),
            Some(_) => None,
        }
    }
}
