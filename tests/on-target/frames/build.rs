//! Puts the memory map where the linker looks for it, and names the build.

use std::path::PathBuf;

fn main() {
    let out = PathBuf::from(std::env::var_os("OUT_DIR").expect("cargo sets it"));
    std::fs::write(out.join("memory.x"), include_bytes!("memory.x")).expect("it can be written");
    println!("cargo:rustc-link-search={}", out.display());
    for argument in ["-Tlink.x", "-Tdefmt.x", "--nmagic"] {
        println!("cargo:rustc-link-arg-bins={argument}");
    }
    println!("cargo:rerun-if-changed=memory.x");
}
