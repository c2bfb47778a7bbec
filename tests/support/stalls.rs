//! How much later than asked the machine lets anybody go on. Whoever holds a
//! program to a time grants it that and no more.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
use std::thread;
use std::time::{Duration, Instant};

const SLEEP: Duration = Duration::from_millis(20);

/// A thread that only wants to sleep and wake; ends when this is dropped.
pub struct Stalls(Arc<AtomicU64>);

impl Stalls {
    pub fn watch() -> Self {
        let late_us = Arc::new(AtomicU64::new(0));
        let counted = Arc::clone(&late_us);
        thread::spawn(move || {
            while Arc::strong_count(&counted) > 1 {
                let begun = Instant::now();
                thread::sleep(SLEEP);
                let late = begun.elapsed().saturating_sub(SLEEP);
                counted.fetch_add(late.as_micros() as u64, Relaxed);
            }
        });
        Self(late_us)
    }

    /// All of it since the last time it was asked for.
    pub fn take(&self) -> Duration {
        Duration::from_micros(self.0.swap(0, Relaxed))
    }
}
