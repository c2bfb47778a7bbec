//! What was found of a timed reference, as plain values.

use serde::{Deserialize, Serialize};

use crate::units::Seconds;

/// A passage of known length, as it was found. Times count from the beginning
/// of the stretch that was measured; the sample clock's known error is taken
/// out of the length, not of the places.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PassageFigures {
    /// First sound; `None` where no beginning was found.
    pub start: Option<Seconds>,
    /// Last sound; `None` where no end was found.
    pub end: Option<Seconds>,
    /// From the first to the last; `None` where either is missing.
    pub length: Option<Seconds>,
    /// How long it lasts at right speed.
    pub expected: Seconds,
}

/// Marks at a known spacing, as they were found.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MarksFigures {
    /// Marks that the figure is made from.
    pub found: u64,
    /// Marks from the first to the last, had none been missing.
    pub expected: u64,
    /// Mean spacing, the sample clock's known error taken out; `None` where
    /// fewer than two marks were found.
    pub spacing: Option<Seconds>,
    /// Spacing at right speed.
    pub nominal: Seconds,
}
