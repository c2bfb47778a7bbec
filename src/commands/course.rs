//! How far the reading of recordings is: counted where they are read, shown
//! where the results are waited for.

use std::cell::Cell;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use super::progress::Progress;

/// Of all recordings together, in the bytes of their files, for their lengths
/// are only known once they are opened.
#[derive(Debug, Default)]
pub(super) struct Course {
    stopped: AtomicBool,
    bytes: AtomicU64,
    skipped: AtomicU64,
    milliseconds: AtomicU64,
}

impl Course {
    /// Nothing more is wanted: whoever reads ends soon.
    pub(super) fn stop(&self) {
        self.stopped.store(true, Ordering::Relaxed);
    }

    pub(super) fn is_stopped(&self) -> bool {
        self.stopped.load(Ordering::Relaxed)
    }

    /// A file as long as this was done before.
    pub(super) fn skip(&self, bytes: u64) {
        self.bytes.fetch_add(bytes, Ordering::Relaxed);
        self.skipped.fetch_add(bytes, Ordering::Relaxed);
    }

    pub(super) fn skipped(&self) -> u64 {
        self.skipped.load(Ordering::Relaxed)
    }

    pub(super) fn bytes(&self) -> u64 {
        self.bytes.load(Ordering::Relaxed)
    }

    /// Seconds of sound that were heard.
    pub(super) fn heard_s(&self) -> f64 {
        self.milliseconds.load(Ordering::Relaxed) as f64 / 1000.0
    }
}

/// Of one recording. It may be read several times over; the way through it is
/// counted once.
pub(super) struct FileCourse<'a> {
    /// `None` where it is read by itself, with a bar of its own.
    all: Option<&'a Course>,
    bytes: u64,
    bytes_told: Cell<u64>,
    milliseconds_told: Cell<u64>,
}

impl<'a> FileCourse<'a> {
    pub(super) fn alone() -> Self {
        Self::of(None, 0)
    }

    /// One of many, as long as this.
    pub(super) fn among(all: &'a Course, bytes: u64) -> Self {
        Self::of(Some(all), bytes)
    }

    fn of(all: Option<&'a Course>, bytes: u64) -> Self {
        Self {
            all,
            bytes,
            bytes_told: Cell::default(),
            milliseconds_told: Cell::default(),
        }
    }

    /// Once through it from its beginning.
    pub(super) fn pass(&self, total_frames: Option<u64>, rate_hz: u32) -> Pass<'_, 'a> {
        let bar = || Progress::of_recording(total_frames, rate_hz);
        Pass {
            of: self,
            total_frames,
            rate_hz,
            bar: self.all.is_none().then(bar),
        }
    }

    fn tell(&self, bytes: u64, milliseconds: u64) {
        let Some(all) = self.all else { return };
        let more = |told: &Cell<u64>, now: u64| {
            let more = now.saturating_sub(told.get());
            told.set(told.get() + more);
            more
        };
        let bytes = more(&self.bytes_told, bytes.min(self.bytes));
        all.bytes.fetch_add(bytes, Ordering::Relaxed);
        let milliseconds = more(&self.milliseconds_told, milliseconds);
        all.milliseconds.fetch_add(milliseconds, Ordering::Relaxed);
    }
}

impl Drop for FileCourse<'_> {
    /// It is done, however far that was.
    fn drop(&mut self) {
        self.tell(self.bytes, 0);
    }
}

/// Once through a recording.
pub(super) struct Pass<'f, 'a> {
    of: &'f FileCourse<'a>,
    total_frames: Option<u64>,
    rate_hz: u32,
    bar: Option<Progress>,
}

impl Pass<'_, '_> {
    /// So much is read; false where no more is wanted.
    pub(super) fn goes_on(&mut self, read_frames: u64) -> bool {
        if let Some(bar) = &mut self.bar {
            bar.at(read_frames);
        }
        let part = self.total_frames.map_or(0.0, |total| {
            read_frames.min(total) as f64 / total.max(1) as f64
        });
        let bytes = (part * self.of.bytes as f64) as u64;
        let milliseconds = read_frames.saturating_mul(1000) / u64::from(self.rate_hz.max(1));
        self.of.tell(bytes, milliseconds);
        !self.of.all.is_some_and(Course::is_stopped)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_is_read_twice_counts_once_and_whole_when_it_is_done() {
        let all = Course::default();
        let file = FileCourse::among(&all, 1000);
        for _ in 0..2 {
            let mut pass = file.pass(Some(96_000), 48_000);
            assert!(pass.goes_on(48_000));
        }
        assert_eq!((all.bytes(), all.heard_s()), (500, 1.0));
        all.stop();
        assert!(!file.pass(None, 48_000).goes_on(1));
        drop(file);
        assert_eq!((all.bytes(), all.heard_s()), (1000, 1.0));
    }
}
