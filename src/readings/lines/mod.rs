//! Lines in the flutter of a record, in constant memory: what the newest
//! minute shows, and what windows along a long record have in common.

mod course;
mod look;
mod motion;
mod record;
mod windows;

pub use record::{LINES_HZ, LineRecord, Run};
