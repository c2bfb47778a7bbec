//! What tests and benchmarks share.

#![allow(dead_code)] // compiled into each of them, which uses a part of it

pub mod bench;
pub mod coloured;
pub mod dice;
pub mod disturbed;
#[cfg(unix)]
pub mod environment;
pub mod fast;
pub mod figures;
pub mod foreign_sounds;
pub mod hands;
#[cfg(target_os = "linux")]
pub mod hostile;
pub mod hours;
pub mod invented;
pub mod job_sheets;
pub mod jobs;
pub mod judge;
#[cfg(target_os = "linux")]
pub mod kills;
pub mod large_letters;
pub mod memory;
pub mod note_sounds;
pub mod odd_hands;
pub mod played;
#[cfg(unix)]
pub mod played_pipe;
#[cfg(target_os = "linux")]
pub mod preload;
pub mod program;
pub mod refused;
pub mod rust_tokens;
pub mod seeds;
#[cfg(target_os = "linux")]
pub mod sitting;
pub mod sound;
#[cfg(unix)]
pub mod sound_server;
pub mod sounds;
pub mod stalls;
pub mod steady_tone;
pub mod sweeps;
pub mod take;
pub mod timed_sounds;
pub mod tunes;
pub mod two_channels;
pub mod unsteady;
pub mod wave_bytes;
pub mod wavering;
pub mod weighting_table;
#[cfg(unix)]
pub mod window;
