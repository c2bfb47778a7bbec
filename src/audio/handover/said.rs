//! What the ticks are to say, for the callback to take without waiting.

use super::atomic::{AtomicU64, Ordering};
use crate::signal::rhythm::Beat;

/// Nearness is handed over in this many steps.
const STEPS: f64 = 1000.0;

/// One word of memory, so that it is never half old and half new.
///
/// Lowest byte: which beat. Next two bytes: nearness in steps. Upper half:
/// counts how often something was said.
#[derive(Debug, Default)]
pub struct Said(AtomicU64);

impl Said {
    /// Says something; to be repeated several times a second, also where it
    /// stays the same. Only one thread may speak.
    pub fn say(&self, beat: Beat) {
        let (kind, nearness) = match beat {
            Beat::Quiet => (0, 0.0),
            Beat::Slow(nearness) => (1, nearness),
            Beat::Fast(nearness) => (2, nearness),
            Beat::Right => (3, 0.0),
            Beat::Settled => (4, 0.0),
            Beat::Stop => (5, 0.0),
        };
        let steps = (nearness.clamp(0.0, 1.0) * STEPS).round() as u64;
        let count = (self.0.load(Ordering::Relaxed) >> 32) + 1;
        self.0
            .store(count << 32 | steps << 8 | kind, Ordering::Release);
    }

    /// How often something was said, wrapping round, and what it was.
    pub(in crate::audio) fn newest(&self) -> (u64, Beat) {
        let word = self.0.load(Ordering::Acquire);
        let nearness = ((word >> 8) & 0xffff) as f64 / STEPS;
        let beat = match word & 0xff {
            1 => Beat::Slow(nearness),
            2 => Beat::Fast(nearness),
            3 => Beat::Right,
            4 => Beat::Settled,
            5 => Beat::Stop,
            _ => Beat::Quiet,
        };
        (word >> 32, beat)
    }
}
