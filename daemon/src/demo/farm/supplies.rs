//! What wears out in the traps, and for how long it serves.

use duskflight_core::orchard::Part;

/// Something in a trap that wears out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Product {
    /// Unique id.
    pub id: &'static str,
    /// Which part of a trap it is.
    pub kind: Part,
    /// Name as printed.
    pub name: &'static str,
    /// Service life, days.
    pub life_days: u16,
    /// Where the service life comes from.
    pub source: &'static str,
}

pub(super) const LURE: Product = Product {
    id: "lure-6wk",
    kind: Part::Lure,
    name: "pheromone lure, six weeks",
    life_days: 42,
    source: "common practice, no source (4 to 8 weeks; the product's own sheet decides)",
};
pub(super) const LONG_LURE: Product = Product {
    id: "lure-8wk",
    kind: Part::Lure,
    name: "pheromone lure, eight weeks",
    life_days: 56,
    source: "common practice, no source (4 to 8 weeks; the product's own sheet decides)",
};
pub(super) const PPO: Product = Product {
    id: "ppo",
    kind: Part::Ppo,
    name: "phenyl propionate dispenser",
    life_days: 42,
    source: "Burks 2017, J. Econ. Entomol. 110:438-446",
};
pub(super) const EGG_BAIT: Product = Product {
    id: "egg-bait",
    kind: Part::Bait,
    name: "almond meal with crude almond oil",
    life_days: 28,
    source: "UC IPM guideline, egg traps for navel orangeworm in almond",
};
pub(super) const BAG_BAIT: Product = Product {
    id: "bag-bait",
    kind: Part::Bait,
    name: "bait bag of ground nuts",
    life_days: 42,
    source: "from memory (4 to 8 weeks)",
};
pub(super) const LINER: Product = Product {
    id: "liner",
    kind: Part::Liner,
    name: "delta trap liner",
    life_days: 42,
    source: "common practice, no source (several weeks, sooner when full)",
};

pub(super) const PRODUCTS: [Product; 6] = [LURE, LONG_LURE, PPO, EGG_BAIT, BAG_BAIT, LINER];
