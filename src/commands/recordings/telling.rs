//! What is written of recordings, one after the other, and of all together.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use super::keeping::{Keeping, Unkept};
use super::{Ended, are_compared};
use crate::commands::cli::ReadOptions;
use crate::commands::course::Course;
use crate::commands::progress::Progress;
use crate::commands::read::FileDone;
use crate::commands::say::{Written, complain, remark, remark_lines, write_out, write_words};
use crate::commands::{Exit, Failure};
use crate::readings::contact::ContactReport;
use crate::report::contact::comparison;
use crate::report::several::{self, Came};

/// What ends sooner is not worth a bar.
const LONG: Duration = Duration::from_secs(3);

/// Until then nobody knows how long it takes.
const KNOWN_AFTER: Duration = Duration::from_secs(1);

pub(super) struct Telling<'a> {
    options: &'a ReadOptions,
    files: &'a [PathBuf],
    worst: Exit,
    contacts: Vec<ContactReport>,
    came: Vec<Came>,
    bar: Progress,
    all_bytes: u64,
    began: Instant,
    keeping: Option<Keeping<'a>>,
    /// Until whoever reads standard output has seen enough.
    is_read: bool,
}

impl<'a> Telling<'a> {
    pub(super) fn new(
        options: &'a ReadOptions,
        files: &'a [PathBuf],
        worst: Exit,
        all_bytes: u64,
        keeping: Option<Keeping<'a>>,
    ) -> Self {
        Self {
            options,
            files,
            worst,
            contacts: Vec::new(),
            came: Vec::new(),
            bar: Progress::with_words(all_bytes),
            all_bytes,
            began: Instant::now(),
            keeping,
            is_read: true,
        }
    }

    /// Whether all that was written was taken.
    pub(super) fn is_read(&self) -> bool {
        self.is_read
    }

    pub(super) fn worst(&self) -> Exit {
        self.worst
    }

    /// Nothing of it is left on the terminal.
    pub(super) fn break_off(&mut self) {
        self.bar.wipe();
    }

    /// While the next one is waited for.
    pub(super) fn wait(&mut self, course: &Course) {
        let (done, elapsed) = (course.bytes(), self.began.elapsed());
        // What was done before took no time.
        let now = done.saturating_sub(course.skipped()).max(1) as f64;
        let rest = self.all_bytes.saturating_sub(done) as f64;
        let left = elapsed.mul_f64((rest / now).min(1e6));
        if elapsed < KNOWN_AFTER || elapsed + left < LONG {
            return;
        }
        let (told, all) = (self.came.len(), self.files.len());
        let rate = course.heard_s() / elapsed.as_secs_f64();
        let left = hours_minutes_seconds(left);
        self.bar.saying(
            done,
            &format!("{told} of {all}, {rate:.0} x real time, {left} left"),
        );
    }

    /// Of the next one.
    pub(super) fn tell(
        &mut self,
        at: usize,
        mut done: FileDone,
        course: &Course,
    ) -> Result<(), Ended> {
        self.bar.wipe();
        done.complaints.iter().for_each(|it| complain(it));
        self.worst = self.worst.max(done.exit);
        if let Some(why) = &done.not_exported {
            complain(why);
            self.worst = self.worst.max(Exit::File);
        }
        if are_compared(self.options, self.files) {
            self.contacts.extend(done.contact);
        }
        self.came.push(match (done.exit, done.figures) {
            (Exit::Done, figures) => Came::Measured(figures.unwrap_or_default()),
            (Exit::NoReference, _) => Came::NoReference,
            _ => Came::NotRead,
        });
        if at > 0 && !self.options.json {
            done.text.insert(0, '\n');
        }
        self.write(&done.text).map_err(Ended::Failed)?;
        if let (Some(keeping), Some(what)) = (&mut self.keeping, done.to_keep) {
            match keeping.keep(&self.files[at], what) {
                Ok(said) => remark(&said),
                Err(Unkept::ThisOne(why)) => {
                    complain(&why);
                    self.worst = self.worst.max(Exit::File);
                }
                Err(Unkept::Any(failure)) => return Err(Ended::Failed(failure)),
            }
        }
        // A job and tables are wanted whole, whoever reads.
        if !self.is_read && self.keeping.is_none() && self.options.export.is_none() {
            return Err(Ended::NobodyReads);
        }
        self.wait(course);
        Ok(())
    }

    /// To standard output, while somebody reads it.
    fn write(&mut self, text: &str) -> Result<(), Failure> {
        if self.is_read {
            let written = if self.options.json {
                write_out(text)?
            } else {
                write_words(text)?
            };
            self.is_read = written == Written::Whole;
        }
        Ok(())
    }

    /// Of all together.
    pub(super) fn end(&mut self) -> Result<(), Failure> {
        self.bar.wipe();
        if let [before, after] = &self.contacts[..] {
            let compared = comparison(before, after);
            self.write(&format!("\n{compared}"))?;
        }
        if self.files.len() > 1 {
            let names: Vec<_> = self.files.iter().map(|it| it.to_string_lossy()).collect();
            let came = std::mem::take(&mut self.came);
            let files = names.iter().map(|it| &**it).zip(came);
            let summary = several::summary(&files.collect::<Vec<_>>());
            if self.options.json {
                remark_lines(&summary);
            } else {
                self.write(&format!("\n{summary}"))?;
            }
        }
        Ok(())
    }
}

fn hours_minutes_seconds(length: Duration) -> String {
    let seconds = length.as_secs();
    let (hours, minutes, seconds) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    match hours {
        0 => format!("{minutes}:{seconds:02}"),
        _ => format!("{hours}:{minutes:02}:{seconds:02}"),
    }
}
