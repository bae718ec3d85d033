//! The posterior, worked by hand on a grid small enough for paper.

use super::*;

/// Laying begins in a cell from 100 to 300 or in one from 300 to 500 °F-days, in their middles; a hump 100
/// wide with ten eggs, strays of one egg in a hundred nights, and counts of shape 1 (twice), whose chance around a
/// mean m is m to the power of the eggs over 1 + m to the power of one more.
fn paper() -> Laying {
    Laying::new(Grid {
        edges: vec![100.0, 300.0, 500.0],
        widths: vec![100.0],
        eggs: vec![10.0],
        strays: vec![0.01],
        shapes: [1.0; 2],
        nothing: 0.1,
    })
}

/// Heat at the ends of the checks: the middle of the first hump is at 364.485, where a twentieth of it was
/// laid 1.64485 widths before, at 200, so that these are -2, -1, 0, 1 and 2 widths from the first middle and
/// -4, -3, -2, -1 and 0 from the second.
const HEAT: [f64; 5] = [164.485, 264.485, 364.485, 464.485, 564.485];
/// Eggs on three traps at four checks, three nights each.
const EGGS: [[u32; 3]; 4] = [[0, 0, 1], [2, 0, 1], [3, 4, 0], [1, 0, 2]];

/// The chances that laying began in the first cell, and that it began at all, after each check.
fn after_each(mut laying: Laying, checks: impl Iterator<Item = usize>) -> Vec<[f64; 2]> {
    let after = checks.map(|at| {
        laying.read(&Counts {
            heat: [HEAT[at], HEAT[at + 1]],
            nights: 3.0,
            eggs: &EGGS[at],
        });
        let posterior = laying.posterior();
        [300.0, 500.0].map(|heat| posterior.begun_by(heat))
    });
    after.collect()
}

fn assert_near(found: [f64; 2], expected: [f64; 2]) {
    for (found, expected) in found.iter().zip(expected) {
        assert!((found - expected).abs() < 2e-4, "{found} {expected}");
    }
}

#[test]
fn a_season_of_three_traps_and_four_checks_is_as_worked_on_paper() {
    // Shares of a hump between whole widths, from a table of the normal curve: 0.1359, 0.3413, 0.3413 and
    // 0.1359 of the first, 0.0013, 0.0214, 0.1359 and 0.3413 of the second. Ten eggs, and three nights of
    // strays, 0.03, give means of 1.389, 3.443, 3.443, 1.389; of 0.043, 0.244, 1.389, 3.443; and 0.03.
    //
    // All eggs of a check are 1, 3, 7, 3. By m^eggs / (1 + m)^(eggs + 3) the checks are as likely as
    // 0.04264, 0.005305, 0.001913, 0.01441 with the first hump,
    // 0.03646, 0.003920, 0.001647, 0.005305 with the second,
    // 0.02665, 0.00002261 and next to nothing with strays alone.
    //
    // Before any count 0.9 times (√300 - √100) / (√500 - √100) = 0.5922 for the first cell, 0.9 times
    // 0.4078 for the second, 0.1 for none.
    // After the first check 0.533 × 0.04264 = 0.02273, 0.367 × 0.03646 = 0.01338 and 0.1 × 0.02665 = 0.00267
    // of 0.03877 in all: 0.5861 for the first cell, 0.9313 for both; and so on.
    let after = after_each(paper(), 0..4);
    assert_near(after[0], [0.5861, 0.9313]);
    assert_near(after[1], [0.6966, 0.9997]);
    assert_near(after[2], [0.7275, 1.0]);
    assert_near(after[3], [0.8788, 1.0]);
}

#[test]
fn between_the_bounds_of_a_cell_the_chance_rises_evenly_and_its_heat_is_found_again() {
    let mut laying = paper();
    let eggs = &EGGS[0];
    laying.read(&Counts {
        heat: [HEAT[0], HEAT[1]],
        nights: 3.0,
        eggs,
    });
    let posterior = laying.posterior();
    // Half of the first cell's 0.5861, and all of nothing before it.
    assert_near(
        [200.0, 50.0].map(|heat| posterior.begun_by(heat)),
        [0.2931, 0.0],
    );
    // Half of what begins at all, 0.4657, is reached in the first cell at 100 + 200 × 0.4657 / 0.5861.
    assert!((posterior.heat_at(0.5) - 258.9).abs() < 0.1);
}

#[test]
fn the_order_of_checks_does_not_matter() {
    let forth = after_each(paper(), 0..4)[3];
    let back = after_each(paper(), (0..4).rev())[3];
    assert!((forth[0] - back[0]).abs() < 1e-12 && (forth[1] - back[1]).abs() < 1e-12);
}

#[test]
fn a_large_count_speaks_for_laying_and_an_empty_trap_under_the_hump_against() {
    let mut laying = paper();
    let counts = |at: usize, eggs: &'static [u32]| Counts {
        heat: [HEAT[at], HEAT[at + 1]],
        nights: 3.0,
        eggs,
    };
    for (at, eggs) in EGGS.iter().enumerate() {
        laying.read(&counts(at, eggs));
    }
    let speaks = laying.speaks();
    // Around 3.443 against 0.03: 4 ln(3.443 / 0.03) - 5 ln(4.443 / 1.03) = 18.97 - 7.31.
    assert!((speaks(&counts(2, &[4])) - 11.66).abs() < 0.01);
    assert!((speaks(&counts(2, &[0])) + (4.443_f64 / 1.03).ln()).abs() < 0.001);
}
