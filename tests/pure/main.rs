//! What the library promises by itself: no process, no terminal, no sound
//! server, and nothing that waits for a clock (but `sweeps_are_judged` asks the
//! command too). One promise a file; `cargo test --test pure FILE` tries one.

#![allow(clippy::unwrap_used)] // in a test, a panic is the answer

#[path = "../support/mod.rs"]
mod support;

mod a_track_shows_what_happened;
mod channels_are_combined;
mod channels_tell_azimuth;
mod engine_reads_true;
mod every_reference_is_live;
mod fast_agrees_with_obvious;
mod floors;
mod flutter_follows_the_standard;
mod golden_data_agrees;
mod history_does_not_matter;
#[cfg(target_os = "linux")]
mod hours_are_measured_the_same;
mod lines_are_found;
mod no_file_knows_another_in_a_circle;
mod nothing_else_changes_a_reading;
mod numbers_stay_numbers;
mod only_test_tones_are_read;
mod parts_are_named;
mod pitch_follows_iso_16;
mod quantities_carry_their_unit;
mod readings_are_not_biased;
mod rehearsal_is_true;
mod routine_is_worked;
mod sample_clock_is_measured;
mod several_runs_are_worked;
mod sweeps_are_judged;
mod the_mean_reaches_the_bound;
mod the_tone_is_captured;
mod the_uncertainty_covers;
mod ticks_speak_by_rhythm;
mod trimming_is_guided;
