//! Which part of the valley a farm lies in: handbooks date the hanging of traps by it.

/// Which part of the valley a farm lies in.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum District {
    /// The central and southern San Joaquin Valley. Taken where nothing is declared: its dates are the earlier
    /// ones, and a trap that hangs early does no harm, while one that hangs late can miss the first moths.
    #[default]
    South,
    /// North of it.
    North,
}

impl District {
    /// Every district.
    pub const ALL: [Self; 2] = [Self::South, Self::North];

    /// The word used in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::South => "south",
            Self::North => "north",
        }
    }

    /// Reads what [`District::name`] writes.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|district| district.name() == name)
    }
}
