//! Gives memory that a night needed back to the system, which the allocator would keep for the next one.

/// Gives free memory back, where the allocator is one that keeps it.
pub(crate) fn trim() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    glibc::malloc_trim(0);
}

#[cfg(all(target_os = "linux", target_env = "gnu"))]
mod glibc {
    use std::ffi::c_int;

    #[expect(
        unsafe_code,
        reason = "declared as glibc does; it may be called by any thread at any time"
    )]
    unsafe extern "C" {
        /// Keeps so many bytes at the top of the heap, and says whether anything was given back.
        pub(super) safe fn malloc_trim(keep: usize) -> c_int;
    }
}
