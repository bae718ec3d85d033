//! The caution that every mail carries, and the authority that it names.

/// Where a farm lies, as far as the authority there has a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Region {
    /// California.
    California,
}

/// The authority of a farm whose region is not given.
pub const LOCAL_AUTHORITY: &str = "your local authority";

impl Region {
    /// Every region.
    pub const ALL: [Self; 1] = [Self::California];

    /// The word used in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::California => "california",
        }
    }

    /// Whom to ask there about permits and local rules.
    #[must_use]
    pub const fn authority(self) -> &'static str {
        match self {
            Self::California => "the county agricultural commissioner",
        }
    }

    /// Reads what [`Region::name`] writes.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|region| region.name() == name)
    }
}

/// The caution that every mail carries. `authority`: whom to ask about permits, to follow "ask".
#[must_use]
pub fn caution(authority: &str) -> String {
    format!(
        "Information and projection only, from weather station data and entered counts; not a pesticide \
         recommendation. Look at the block. Decisions belong to the grower and a licensed adviser. The label is the \
         law: pre-harvest and re-entry intervals, rates, bees. Ask {authority} about permits and local rules."
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_names_the_authority_of_the_region() {
        for region in Region::ALL {
            assert_eq!(Region::from_name(region.name()), Some(region));
        }
        let asked = |authority| {
            let caution = caution(authority);
            caution.rsplit_once(". ").unwrap().1.to_owned()
        };
        assert_eq!(
            asked(Region::California.authority()),
            "Ask the county agricultural commissioner about permits and local rules."
        );
        assert_eq!(
            asked(LOCAL_AUTHORITY),
            "Ask your local authority about permits and local rules."
        );
    }
}
