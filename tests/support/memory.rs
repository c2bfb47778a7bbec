//! Memory of a process, as Linux tells it.

use std::fs;

/// Resident memory of a process, `self` or its number, in KiB; `None` where the
/// system does not tell.
pub fn resident_kib(process: &str) -> Option<u64> {
    told_kib(process, "VmRSS:")
}

/// The most that it ever held.
pub fn most_kib(process: &str) -> Option<u64> {
    told_kib(process, "VmHWM:")
}

fn told_kib(process: &str, key: &str) -> Option<u64> {
    let status = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix(key))?;
    line.split_whitespace().next()?.parse().ok()
}
