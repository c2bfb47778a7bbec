//! What the built command answers to whoever runs it, and the recordings and
//! records that it shares with the library. One promise a file;
//! `cargo test --test program FILE` tries one.

#![allow(clippy::unwrap_used)] // in a test, a panic is the answer

#[path = "../support/mod.rs"]
mod support;

mod a_copy_tells_the_speed;
mod a_held_note_is_a_reference;
mod a_tape_says_where_it_was_recorded;
mod clock_command;
mod contacts_are_checked;
mod dependencies_are_told;
#[cfg(target_os = "linux")]
mod hostile_bytes_do_no_harm;
#[cfg(target_os = "linux")]
mod hostile_files_do_no_harm;
mod jobs_are_told;
mod json_keeps_its_contract;
mod many_files_are_read;
mod names_are_harmless;
#[cfg(target_os = "linux")]
mod nothing_is_lost;
mod parts_are_told;
mod recordings_are_read;
mod recordings_tell_what_happened;
mod records_survive;
mod settings_are_explained;
mod sheets_are_made;
#[cfg(unix)]
mod sheets_look_right;
mod snapshots_are_compared;
mod speed_along_a_tape_is_told;
mod tape_cards_correct_the_reading;
#[cfg(unix)]
mod the_shell_is_helped;
#[cfg(unix)]
mod the_shell_is_told;
mod times_tell_the_speed;
mod tones_are_true;
mod what_is_said_is_one;
