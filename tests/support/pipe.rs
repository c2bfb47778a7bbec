//! A named pipe, as a shell makes one.

use std::path::Path;
use std::process::Command;

pub fn make(path: &Path) {
    let made = Command::new("mkfifo").arg(path).status();
    let is_made = made.is_ok_and(|made| made.success());
    assert!(is_made, "no pipe at {}", path.display());
}
