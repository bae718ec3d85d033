//! How likely each level of heat is to be the one at which egg laying began, from all counts of a group's egg
//! traps.
//!
//! The model is ours. Eggs are laid along a hump of degree-days whose middle and width are unknown; laying
//! has begun once a twentieth of them is laid. A trap's count of some nights scatters around what the hump
//! and a rate of strays give, many zeros and few large ones (Higbee & Burks 2011, J. Econ. Entomol.
//! 104:211-219), as a negative binomial; the share of traps with eggs is steadier than their mean (Burks et
//! al. 2011, Environ. Entomol. 40:706-713), which a small shape says. Beside it stands that nothing begins
//! at all. Every combination of a grid's numbers is weighed by what was counted; nothing is drawn by chance.

use libm::{erfc, lgamma};

use super::logarithm::Logarithm;

/// Where a normal curve has a twentieth behind it, in standard deviations before its middle.
const A_TWENTIETH: f64 = 1.644_853_626_951_472_2;

/// A combination so much less likely than the likeliest adds nothing that can be seen; as a logarithm.
const NEGLIGIBLE: f64 = -40.0;

/// A number for each of two shapes.
type OfShapes = [f64; 2];

/// The numbers of which every combination is weighed, each as likely as another before any count.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Grid {
    /// Bounds of the cells in which laying may begin, °F-days since 1 January.
    pub(super) edges: Vec<f64>,
    /// Widths of the hump, one standard deviation, °F-days.
    pub(super) widths: Vec<f64>,
    /// Eggs that a trap gets in all while the hump passes.
    pub(super) eggs: Vec<f64>,
    /// Eggs per trap per night that no hump explains.
    pub(super) strays: Vec<f64>,
    /// Shapes of the negative binomial.
    pub(super) shapes: OfShapes,
    /// The chance before any count that nothing begins.
    pub(super) nothing: f64,
}

impl Grid {
    /// The grid in use, with a start between two levels of heat and humps between two widths, °F-days. Its
    /// other numbers are from memory of what egg traps show.
    pub(super) fn between(bounds: [f64; 2], widths: [f64; 2]) -> Self {
        let logarithms = [3.0_f64.ln(), 300.0_f64.ln()];
        Self {
            edges: even(bounds, 41),
            widths: even(widths, 4),
            eggs: even(logarithms, 9).into_iter().map(f64::exp).collect(),
            strays: vec![0.002, 0.01, 0.05],
            shapes: [0.4, 1.0],
            nothing: 0.1,
        }
    }

    fn cells(&self) -> usize {
        self.edges.len() - 1
    }

    /// Each day is as likely as another before any count: the heat of a day grows about with the square
    /// root of the heat since 1 January (at the stations under `tests/data` 6 at 250, 10 at 630 and 15 at
    /// 890 °F-days in the middle year).
    fn prior(&self, cell: usize) -> f64 {
        let root = |at: usize| self.edges[at].sqrt();
        (root(cell + 1) - root(cell)) / (root(self.cells()) - root(0))
    }

    /// Middle and width of the humps, by cell and width: laying begins in the middle of a cell.
    fn humps(&self) -> impl Iterator<Item = (f64, f64)> {
        self.edges.windows(2).flat_map(|edges| {
            let begins = f64::midpoint(edges[0], edges[1]);
            let of_width = move |&width: &f64| (begins + A_TWENTIETH * width, width);
            self.widths.iter().map(of_width)
        })
    }
}

/// Numbers at equal steps from one to another, both among them.
fn even([from, to]: [f64; 2], count: usize) -> Vec<f64> {
    let step = (to - from) / (count - 1) as f64;
    (0..count).map(|at| step.mul_add(at as f64, from)).collect()
}

/// Counts of traps that hung the same nights.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Counts<'a> {
    /// Heat since 1 January at the beginning of these nights and at their end, °F-days.
    pub(super) heat: [f64; 2],
    /// How many nights.
    pub(super) nights: f64,
    /// Eggs on each trap.
    pub(super) eggs: &'a [u32],
}

impl Counts<'_> {
    fn all(&self) -> f64 {
        self.eggs.iter().map(|&eggs| f64::from(eggs)).sum()
    }

    fn traps(&self) -> f64 {
        self.eggs.len() as f64
    }

    /// What the logarithm of the likelihood has in common for every mean: all but the factorials.
    fn whatever_the_mean(&self, shape: f64) -> f64 {
        let of_trap = |&eggs: &u32| lgamma(f64::from(eggs) + shape) - lgamma(shape);
        let alone: f64 = self.eggs.iter().map(of_trap).sum();
        self.traps() * shape * shape.ln() + alone
    }
}

/// What all counts so far say of the start.
#[derive(Debug, Clone)]
pub(super) struct Laying {
    grid: Grid,
    /// Logarithms of likelihoods by cell, width, eggs and strays.
    humps: Vec<OfShapes>,
    /// The same with strays alone.
    strays: Vec<OfShapes>,
}

/// How the start is spread over the heat since 1 January.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Posterior {
    edges: Vec<f64>,
    /// The chance that it lies before each bound.
    before: Vec<f64>,
}

impl Laying {
    /// Before any count.
    pub(super) fn new(grid: Grid) -> Self {
        let strays = grid.strays.len();
        let humps = grid.cells() * grid.widths.len() * grid.eggs.len();
        Self {
            humps: vec![[0.0; 2]; humps * strays],
            strays: vec![[0.0; 2]; strays],
            grid,
        }
    }

    /// Takes in counts.
    pub(super) fn read(&mut self, counts: &Counts<'_>) {
        let Self {
            grid,
            humps,
            strays,
        } = self;
        let (all, traps) = (counts.all(), counts.traps());
        let of_shape = |shape: f64| (shape, all + traps * shape, counts.whatever_the_mean(shape));
        let shapes = grid.shapes.map(of_shape);
        let table = Logarithm::table();
        let add = |sums: &mut OfShapes, mean: f64| {
            let of_eggs = if all > 0.0 { all * table.of(mean) } else { 0.0 };
            for (sum, (shape, power, alone)) in sums.iter_mut().zip(shapes) {
                *sum += alone + of_eggs - power * table.of(mean + shape);
            }
        };
        let means: Vec<f64> = grid
            .strays
            .iter()
            .map(|rate| rate * counts.nights)
            .collect();
        for (sums, stray) in strays.iter_mut().zip(&means) {
            add(sums, *stray);
        }
        let mut sums = humps.iter_mut();
        for (middle, width) in grid.humps() {
            let share = share_laid(counts.heat, middle, width);
            for eggs in &grid.eggs {
                for (stray, sums) in means.iter().zip(&mut sums) {
                    add(sums, eggs.mul_add(share, *stray));
                }
            }
        }
    }

    /// Whether laying can be nine times as likely to begin as not: no while even the likeliest hump is not as
    /// likely as strays alone are on average. It is known sooner than the posterior.
    pub(super) fn may_be_likely(&self) -> bool {
        let combinations = self.strays.as_flattened().len() as f64;
        highest(&self.humps) >= highest(&self.strays) - combinations.ln()
    }

    /// What the counts say by now.
    pub(super) fn posterior(&self) -> Posterior {
        let highest = highest(&self.humps).max(highest(&self.strays));
        let likely = |of: &[OfShapes]| {
            let heights = of.as_flattened().iter().map(|of| of - highest);
            let seen = heights.filter(|of| *of > NEGLIGIBLE);
            seen.map(f64::exp).sum::<f64>() / of.as_flattened().len() as f64
        };
        let begins = 1.0 - self.grid.nothing;
        let cells = self.humps.chunks(self.humps.len() / self.grid.cells());
        let mut before = vec![0.0];
        for (cell, of_cell) in cells.enumerate() {
            before.push(before[cell] + begins * self.grid.prior(cell) * likely(of_cell));
        }
        let all = before[self.grid.cells()] + self.grid.nothing * likely(&self.strays);
        Posterior {
            edges: self.grid.edges.clone(),
            before: before.into_iter().map(|chance| chance / all).collect(),
        }
    }

    /// How much likelier counts are by the likeliest hump than by its strays alone, as a logarithm: above
    /// zero they speak for laying, below against.
    pub(super) fn speaks(&self) -> impl Fn(&Counts<'_>) -> f64 {
        let grid = &self.grid;
        let (shapes, strays) = (grid.shapes.len(), grid.strays.len());
        let each = self.humps.as_flattened();
        let of_cell = each.len() / grid.cells();
        let likely = |(at, of): (usize, &f64)| (at, of + grid.prior(at / of_cell).ln());
        let each = each.iter().enumerate().map(likely);
        let best = each.max_by(|(_, one), (_, other)| one.total_cmp(other));
        // A grid has combinations.
        let at = best.map_or(0, |(at, _)| at);
        let shape = grid.shapes[at % shapes];
        let rate = grid.strays[at / shapes % strays];
        let eggs = grid.eggs[at / (shapes * strays) % grid.eggs.len()];
        let hump = grid.humps().nth(at / (shapes * strays * grid.eggs.len()));
        move |counts| {
            let stray = rate * counts.nights;
            let share = hump.map_or(0.0, |(middle, width)| {
                share_laid(counts.heat, middle, width)
            });
            let (all, power) = (counts.all(), counts.all() + counts.traps() * shape);
            let of = |mean: f64| all * mean.ln() - power * (mean + shape).ln();
            of(eggs.mul_add(share, stray)) - of(stray)
        }
    }
}

impl Posterior {
    /// The chance that laying had begun by a level of heat, °F-days since 1 January.
    pub(super) fn begun_by(&self, heat: f64) -> f64 {
        between(&self.edges, &self.before, heat)
    }

    /// The heat by which so much of the chance is reached, if laying begins at all.
    pub(super) fn heat_at(&self, share: f64) -> f64 {
        let all = self.before.last().copied().unwrap_or_default();
        between(&self.before, &self.edges, share * all)
    }
}

fn highest(of: &[OfShapes]) -> f64 {
    let each = of.as_flattened().iter();
    each.fold(
        f64::NEG_INFINITY,
        |highest, &of| if of > highest { of } else { highest },
    )
}

/// The share of a hump's eggs that are laid between two levels of heat.
fn share_laid(heat: [f64; 2], middle: f64, width: f64) -> f64 {
    let laid = |heat: f64| 0.5 * erfc((middle - heat) / (width * std::f64::consts::SQRT_2));
    (laid(heat[1]) - laid(heat[0])).max(0.0)
}

/// A straight line through points that rise, at a place; at its ends what stands there.
fn between(from: &[f64], to: &[f64], at: f64) -> f64 {
    let after = from.partition_point(|&of| of < at);
    let (Some(&high), Some(before)) = (from.get(after), after.checked_sub(1)) else {
        return if after == 0 { to[0] } else { to[to.len() - 1] };
    };
    let low = from[before];
    to[before] + (to[after] - to[before]) * (at - low) / (high - low)
}

#[cfg(test)]
mod tests;
