//! Whether a time service keeps the machine's clock, as the kernel knows.

/// The largest error that the kernel gives a clock, in microseconds: that of one that was set by hand, or that no time
/// service has kept for some nine hours.
const UNKEPT: libc::c_long = 16_000_000;

/// Whether any time service, whichever it is, keeps the clock. A system that does not let us ask counts as one without.
pub(super) fn is_kept() -> bool {
    #[expect(
        unsafe_code,
        reason = "the structure is plain numbers, and without a mode the call only fills it"
    )]
    let (answer, state) = unsafe {
        let mut state: libc::timex = std::mem::zeroed();
        (libc::adjtimex(&raw mut state), state)
    };
    answer != -1 && is_of_a_kept_clock(state.maxerror)
}

fn is_of_a_kept_clock(largest_error: libc::c_long) -> bool {
    (0..UNKEPT).contains(&largest_error)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_is_kept_while_the_kernel_knows_an_error_of_less_than_the_largest() {
        // What a time service of systemd leaves, what one that measures its own error does, and a day without.
        assert!(is_of_a_kept_clock(0) && is_of_a_kept_clock(38_500));
        assert!(!is_of_a_kept_clock(UNKEPT) && !is_of_a_kept_clock(-1));
        // Whatever this machine says, it can be asked.
        let _ = is_kept();
    }
}
