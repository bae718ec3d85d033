//! Has the allocator keep little: memory that a night needed goes back to the system instead of waiting for the next one.

/// Gives free memory back, where the allocator is one that keeps it.
pub(crate) fn trim() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    glibc::malloc_trim(0);
}

/// Has all threads share two heaps: few work at once, and each heap keeps what was freed in it between what was not.
/// Called before there is another thread.
pub(crate) fn share_heaps() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    glibc::mallopt(glibc::M_ARENA_MAX, 2);
}

#[cfg(all(target_os = "linux", target_env = "gnu"))]
mod glibc {
    use std::ffi::c_int;

    /// As in malloc.h.
    pub(super) const M_ARENA_MAX: c_int = -8;

    #[expect(
        unsafe_code,
        reason = "declared as glibc does; the first may be called by any thread at any time, the second is called while \
                  there is one"
    )]
    unsafe extern "C" {
        /// Keeps so many bytes at the top of the heap, and says whether anything was given back.
        pub(super) safe fn malloc_trim(keep: usize) -> c_int;
        /// Sets one of its parameters, and says whether it did.
        pub(super) safe fn mallopt(parameter: c_int, value: c_int) -> c_int;
    }
}
