//! Sounds that are told by when they come: where a passage begins and ends,
//! and when each of a row of short marks arrives.

pub mod bursts;
pub mod edges;
pub mod envelope;
pub mod marks;
mod sounding;
pub mod train;
