//! Floor 5: files that must never be lost.
//!
//! [`Record`] is a file of [`Snapshot`]s, one JSON object a line, only ever
//! appended to. [`places`] says where it lies when nobody says otherwise.

pub mod places;
mod record;
mod snapshot;

pub use record::{Record, RecordError, RecordWarning};
pub use snapshot::{Label, Snapshot};
