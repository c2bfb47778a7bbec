//! Faults that no test can wait for, injected between the program and a library
//! of the system: a small C library of our own that is loaded in front of it. The
//! program under test is the one that is built, unchanged.

use std::path::{Path, PathBuf};
use std::process::Command;

/// What a test of them needs to be installed, besides its own.
pub const COMPILER: &str = "cc";

/// Compiles `tests/support/NAME.c` into `folder`. The path is for the environment
/// variable `LD_PRELOAD` of the program under test.
pub fn built(name: &str, folder: &Path) -> PathBuf {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/support/{name}.c"));
    let library = folder.join(format!("{name}.so"));
    let done = Command::new(COMPILER)
        .args(["-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o"])
        .arg(&library)
        .arg(&source)
        .arg("-ldl")
        .status();
    assert!(
        done.expect("a C compiler runs").success(),
        "{} does not compile",
        source.display()
    );
    library
}
