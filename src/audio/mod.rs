//! Floor 7: where samples come from and go to.
//!
//! Every source (sound card, recording, simulated machine) runs on a thread of
//! its own and hands over one end of a ring with [`source::SourceEvent`]; the
//! analysis thread holds the other. The ring is all that they share.
//!
//! Lengths of time and of buffers are choices, long enough for a busy computer
//! and short enough for a hand, unless a comment says where they come from.

pub mod analysis;
pub mod callback;
pub mod clock_run;
mod device_names;
mod device_thread;
pub mod devices;
pub mod feed;
mod found;
mod handover;
mod held_output;
pub mod input;
pub mod listen;
mod log_feed;
pub mod output;
mod output_stream;
pub mod pick;
pub mod quiet;
pub mod recording;
pub mod rehearsal_source;
pub mod ring;
mod sound_error;
pub mod source;
mod stream_plan;
pub mod system_clock;
#[cfg(test)]
mod tests;
pub mod ticks;
pub mod tone_file;
mod watchdog;

pub use log_feed::LogFeed;
pub use sound_error::{Direction, SoundError};
