//! What needs the sound system, mostly with live audio through a sound server
//! of the test's own. One promise a file; `cargo test --test sound FILE` tries
//! one. The tests wait for each other, for they hold times against the clock.

#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used)] // in a test, a panic is the answer

#[path = "../support/mod.rs"]
mod support;

mod capture_faults;
mod clock_runs_live;
mod inputs_are_listed;
mod live_input;
mod live_screen;
mod ticks_are_heard;
