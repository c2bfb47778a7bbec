//! The program's own sources of what its threads share, and their tests.

#![forbid(unsafe_code)]
#![allow(dead_code, unused_imports, unused_macros)] // the rest of the program uses it

#[path = "../../src/units.rs"]
pub mod units;

#[path = "../../src/signal"]
pub mod signal {
    pub mod rhythm;
    pub mod tone;
}

#[path = "../../src/audio"]
pub mod audio {
    pub mod callback;
    pub mod feed;
    mod handover;
    pub mod pick;
    pub mod ring;
    pub mod source;
    mod stream_plan;
    #[cfg(test)]
    mod tests;
}
