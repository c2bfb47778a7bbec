//! Writes the log of a sitting on a thread of its own: a disk may take seconds,
//! and neither the needle nor the screen waits for it.

use std::io;
use std::path::Path;
use std::sync::mpsc::{Receiver, Sender, channel, sync_channel};
use std::thread::{self, JoinHandle};

use super::{Exit, Failure};
use crate::audio::LogFeed;
use crate::records::{LogError, LogFile};
use crate::report::{LogHead, LogLine, LogSummary};

/// Lines that wait for a slow disk at most: two minutes.
const PATIENCE: usize = 128;

/// A log that is being written.
pub(super) struct Logging {
    thread: JoinHandle<Written>,
    refused: Receiver<String>,
}

/// What came of it.
struct Written {
    summary: LogSummary,
    path: String,
    error: Option<LogError>,
}

impl Logging {
    /// Begins the file; nothing is measured where that cannot be done.
    pub(super) fn begin(path: &Path, head: &LogHead) -> Result<(Self, LogFeed), Failure> {
        let refused = |error: LogError| Failure::new(Exit::File, error.to_string());
        let file = LogFile::begin(path, head).map_err(refused)?;
        let (lines, to_write) = sync_channel(PATIENCE);
        let (say, refused) = channel();
        let thread = thread::Builder::new()
            .name("log".into())
            .spawn(move || write_all(file, &to_write, &say))
            .map_err(|error: io::Error| Failure::new(Exit::File, error.to_string()))?;
        Ok((Self { thread, refused }, LogFeed::new(lines)))
    }

    /// Why it can go on no longer, once; never waits.
    pub(super) fn has_ended(&self) -> Option<String> {
        self.refused.try_recv().ok()
    }

    /// Waits until all is written; the feed must be gone. What to say of it, and
    /// whether all of it is there.
    pub(super) fn finish(self) -> (Vec<String>, Exit) {
        // A panic of it has been reported on the shell already.
        let Ok(written) = self.thread.join() else {
            return (Vec::new(), Exit::File);
        };
        let mut said = vec![format!("log {}: {}", written.path, written.summary)];
        let exit = match written.error {
            Some(error) => {
                said.push(format!("the log ended early: {error}"));
                Exit::File
            }
            None => Exit::Done,
        };
        (said, exit)
    }
}

/// Writes what comes until nobody sends any more, or the file takes no more.
fn write_all(mut file: LogFile, lines: &Receiver<LogLine>, say: &Sender<String>) -> Written {
    let mut summary = LogSummary::default();
    let mut error = None;
    for line in lines {
        if let Err(refused) = file.write(&line) {
            // A screen that is gone hears of it at the end.
            let _ = say.send(format!("the log has ended: {refused}"));
            error = Some(refused);
            break;
        }
        if let LogLine::Second(second) = &line {
            summary.add(second);
        }
    }
    Written {
        summary,
        path: file.path().display().to_string(),
        error,
    }
}
