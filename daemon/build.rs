//! How the program is linked.

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    // A table of a megabyte that is only read at the start becomes one of some kilobytes. Needs glibc 2.36.
    if std::env::var("CARGO_CFG_TARGET_ENV").as_deref() == Ok("gnu") {
        println!("cargo::rustc-link-arg-bins=-Wl,-z,pack-relative-relocs");
    }
}
