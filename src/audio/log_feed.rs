//! Hands a line a second to whoever writes the log, and never waits for it.

use std::sync::mpsc::{SyncSender, TrySendError};

use crate::readings::Reading;
use crate::report::{LogLine, LogLines, LogSecond};

/// Every how many seconds the lines in the flutter are logged.
const LINES_EVERY_S: u64 = 60;

/// The analysis' end of a log.
pub struct LogFeed {
    lines: SyncSender<LogLine>,
    /// Seconds of inputs before the present one.
    before_s: f64,
    /// Time of the newest reading.
    newest_s: f64,
    /// Whole seconds logged.
    logged: u64,
    /// Lines that found no room.
    skipped: u64,
    /// Nobody writes any more.
    is_over: bool,
}

impl LogFeed {
    /// Into this channel, whose length is the patience with a slow disk.
    pub fn new(lines: SyncSender<LogLine>) -> Self {
        Self {
            lines,
            before_s: 0.0,
            newest_s: 0.0,
            logged: 0,
            skipped: 0,
            is_over: false,
        }
    }

    /// The newest reading, some dozens a second.
    pub(super) fn look(&mut self, reading: &Reading, lost_frames: u64) {
        if reading.at.0 < self.newest_s {
            // Another input, which counts from its own beginning.
            self.before_s += self.newest_s;
        }
        self.newest_s = reading.at.0;
        let at_s = (self.before_s + self.newest_s).floor() as u64;
        if self.is_over || at_s <= self.logged {
            return;
        }
        let minutes = |s: u64| s / LINES_EVERY_S;
        let is_a_minute = minutes(at_s) > minutes(self.logged);
        self.logged = at_s;
        let second = LogSecond::of(reading, at_s, lost_frames, self.skipped);
        self.send(LogLine::Second(second));
        if is_a_minute {
            self.send(LogLine::Lines(LogLines::of(reading, at_s)));
        }
    }

    fn send(&mut self, line: LogLine) {
        match self.lines.try_send(line) {
            Ok(()) => {}
            Err(TrySendError::Full(_)) => self.skipped += 1,
            Err(TrySendError::Disconnected(_)) => self.is_over = true,
        }
    }
}
