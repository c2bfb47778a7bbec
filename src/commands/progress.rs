//! A bar on standard error for what takes its time; nothing where that is no
//! terminal.

use std::io::{self, IsTerminal};
use std::time::{Duration, Instant};

use super::habits::is_quiet;
use super::say::over_and_over;

/// A shorter recording is read before anybody could look at the bar.
const LONG_SECONDS: u64 = 600;

/// How often the bar is drawn.
const INTERVAL: Duration = Duration::from_millis(100);

/// Characters in the bar.
const WIDTH: usize = 40;

/// The same where words stand beside it.
const WIDTH_WITH_WORDS: usize = 24;

/// A bar that wipes itself away when it is dropped.
pub(super) struct Progress {
    /// `None` when nothing is to be drawn.
    total: Option<u64>,
    drawn: Option<Instant>,
    /// Characters in the bar.
    width: usize,
    /// Characters of the longest line so far.
    widest: usize,
}

impl Progress {
    /// For a recording: drawn only where it is long and its length known.
    pub(super) fn of_recording(total_frames: Option<u64>, rate_hz: u32) -> Self {
        Self::new(total_frames.filter(|total| *total > LONG_SECONDS * u64::from(rate_hz)))
    }

    /// For a number of steps.
    pub(super) fn new(total: Option<u64>) -> Self {
        Self {
            total: total.filter(|total| *total > 0 && !is_quiet() && io::stderr().is_terminal()),
            drawn: None,
            width: WIDTH,
            widest: 0,
        }
    }

    /// For a number of steps with words beside it; both fit 80 columns.
    pub(super) fn with_words(total: u64) -> Self {
        Self {
            width: WIDTH_WITH_WORDS,
            ..Self::new(Some(total))
        }
    }

    /// Moves on to what is done.
    pub(super) fn at(&mut self, done: u64) {
        self.saying(done, "");
    }

    /// Takes the bar away until it is moved on again.
    pub(super) fn wipe(&mut self) {
        if self.drawn.take().is_some() {
            over_and_over(&" ".repeat(self.widest));
            over_and_over("");
        }
    }

    /// The same, and this is to be said beside the bar.
    pub(super) fn saying(&mut self, done: u64, text: &str) {
        let Some(total) = self.total else { return };
        if self.drawn.is_some_and(|drawn| drawn.elapsed() < INTERVAL) {
            return;
        }
        self.drawn = Some(Instant::now());
        // A bar that cannot be drawn is no reason to stop.
        let line = format!("{}  {text}", bar(done, total, self.width));
        self.widest = self.widest.max(line.chars().count());
        over_and_over(&format!("{line:<width$}", width = self.widest));
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.wipe();
    }
}

fn bar(done: u64, total: u64, width: usize) -> String {
    let share = done.min(total) as f64 / total as f64;
    let full = (share * width as f64) as usize;
    format!(
        "[{}{}] {:3.0} %",
        "=".repeat(full),
        " ".repeat(width - full),
        share * 100.0
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bar_fills_and_never_overflows() {
        assert_eq!(bar(0, 10, WIDTH), format!("[{}]   0 %", " ".repeat(WIDTH)));
        assert_eq!(bar(10, 10, WIDTH), format!("[{}] 100 %", "=".repeat(WIDTH)));
        assert_eq!(bar(99, 10, WIDTH), bar(10, 10, WIDTH));
        assert_eq!(bar(5, 10, WIDTH).matches('=').count(), WIDTH / 2);
    }
}
