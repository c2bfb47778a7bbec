//! What takes minutes or an hour: many kills, days of tape, a real hour of
//! sound. `cargo test` leaves these out (`test = false` in Cargo.toml); one
//! promise a file, `cargo test --release --test long FILE -- --nocapture` tries one and prints
//! its counts. The ordinary programs hold the same promises with fewer tries, but for
//! what only time shows: memory, open files and threads, and the clocks.

#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used)] // in a test, a panic is the answer

#[path = "../support/mod.rs"]
mod support;

mod a_thousand_sounds_are_no_tone;
mod an_hour_through_the_sound_server;
mod five_hundred_kills;
mod forty_eight_hours_of_tape;
