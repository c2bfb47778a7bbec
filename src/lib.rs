//! Tapewright: the speed, drift and flutter of a tape machine, live, for the
//! technician at the trimmer.
//!
//! # The map, from the ground up
//!
//! No lower floor knows a higher one; a test walks the sources and fails when
//! one does.
//!
//! | floor | module | what lives there |
//! | --- | --- | --- |
//! | 0 | [`units`] | quantities that carry their unit |
//! | 1 | [`signal`] | pure mathematics on samples: spectrum, demodulator, filters |
//! | 2 | [`readings`] | what a technician reads: [`readings::Engine`] is the door for all that is live |
//! | 3 | [`references`] | what "right" means: tones, notes, tolerance bands; which parts turn, what is likely wrong |
//! | 4 | [`rehearsal`] | a simulated machine whose true speed is known |
//! | 5 | [`records`] | files that must never be lost: jobs, snapshots, measured sample clocks |
//! | 6 | [`report`] | readings and records as text, JSON, tables, pictures and sheets |
//! | 7 | [`audio`] | where samples come from and go to; ring, threads |
//! | 8 | [`screen`] | draws the state it is given; never measures |
//! | 9 | [`commands`] | the command line, a file each |
//!
//! # Constants
//!
//! A constant that moves a figure says what it is: *derived* (from a formula or
//! a standard, beside it), *practice* (of the trade, with its source where there
//! is one) or *tuned*, with the bench that judges it. The others are sizes and
//! layouts of our own.
//!
//! # The way of a sample
//!
//! sound card, recording or simulated machine → ring → analysis thread
//! ([`audio::analysis`]) → [`readings::Engine`] → newest
//! [`readings::Reading`] → screen state → terminal.

#![forbid(unsafe_code)]

// What tests invent names the crate as they do.
#[cfg(test)]
extern crate self as tapewright;

pub mod audio;
pub mod commands;
pub mod readings;
pub mod records;
pub mod references;
pub mod rehearsal;
pub mod report;
pub mod screen;
pub mod signal;
pub mod units;
