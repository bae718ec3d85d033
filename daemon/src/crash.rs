//! Points of the program's work at which a test can end it, as if the power failed there, or have it hang.
//!
//! Only with the feature `crash-points`, which no release has; without it nothing of this is left.

#[cfg(all(feature = "crash-points", not(debug_assertions)))]
compile_error!("a release build has no crash points");

#[cfg(feature = "crash-points")]
pub(crate) use armed::point;
#[cfg(not(feature = "crash-points"))]
pub(crate) use unarmed::point;

#[cfg(not(feature = "crash-points"))]
mod unarmed {
    pub(crate) const fn point(_name: &str) {}
}

#[cfg(feature = "crash-points")]
mod armed {
    use std::env;
    use std::fs::{self, File};
    use std::io::Write;
    use std::sync::atomic::{AtomicUsize, Ordering};

    /// Ends the program at the point with this number, counted from 1, or at the first one of this name.
    const AT: &str = "DUSKFLIGHT_CRASH_AT";
    /// A file to which the name of every point is added that is passed.
    const LIST: &str = "DUSKFLIGHT_CRASH_LIST";

    /// A file whose presence lets the next point hang; that it is gone says that it does.
    const HANG: &str = "DUSKFLIGHT_HANG";

    /// Passes a point, or ends the program there: no destructor, no goodbye to anyone.
    pub(crate) fn point(name: &str) {
        static PASSED: AtomicUsize = AtomicUsize::new(0);
        let number = PASSED.fetch_add(1, Ordering::SeqCst) + 1;
        if let Some(list) = env::var_os(LIST) {
            let list = File::options().create(true).append(true).open(list);
            let added = list.and_then(|mut list| writeln!(list, "{name}"));
            added.expect("the list of points can be written");
        }
        if env::var(AT).is_ok_and(|at| at == name || at == number.to_string()) {
            std::process::abort();
        }
        if env::var_os(HANG).is_some_and(|file| fs::remove_file(file).is_ok()) {
            loop {
                std::thread::park();
            }
        }
    }
}
