//! Where the tape is, for the callback to take without waiting.

use super::atomic::{AtomicU64, Ordering};
use crate::units::Seconds;

/// A place in the copy. Only one thread may speak.
#[derive(Debug, Default)]
pub struct TapePlace {
    /// Counts how often something was said.
    count: AtomicU64,
    /// Seconds into the copy as bits; not a number where there is nothing to
    /// play.
    place: AtomicU64,
}

impl TapePlace {
    /// Seconds into the copy; `None` for silence.
    pub fn say(&self, place: Option<Seconds>) {
        let place = place.map_or(f64::NAN, |place| place.0);
        self.place.store(place.to_bits(), Ordering::Release);
        self.count.fetch_add(1, Ordering::Release);
    }

    pub(in crate::audio) fn newest(&self) -> (u64, Option<f64>) {
        let count = self.count.load(Ordering::Acquire);
        let place = f64::from_bits(self.place.load(Ordering::Acquire));
        (count, Some(place).filter(|place| place.is_finite()))
    }
}
