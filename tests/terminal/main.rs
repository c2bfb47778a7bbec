//! What the screen does in a real terminal. One promise a file;
//! `cargo test --test terminal FILE` tries one.

#![allow(clippy::unwrap_used)] // in a test, a panic is the answer

#[path = "../support/mod.rs"]
mod support;

#[cfg(target_os = "linux")]
mod a_panic_in_any_thread_is_told;
mod jobs_on_a_terminal;
mod many_files_on_a_terminal;
mod the_screen_stays_whole;
mod the_strip_on_a_terminal;
#[cfg(target_os = "linux")]
mod the_terminal_is_given_back;
mod watch_runs_on_a_terminal;
#[cfg(target_os = "linux")]
mod what_is_acknowledged_is_kept;
