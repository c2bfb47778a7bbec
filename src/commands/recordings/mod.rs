//! `tapewright read`: measures recordings, several at a time, and tells of them
//! in their order.

mod found;
mod in_order;
mod keeping;
mod state;
mod telling;

use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{RwLock, TryLockError};
use std::thread;
use std::time::{Duration, Instant};

use found::Found;
use in_order::{Now, in_order};
pub(super) use keeping::take_machine;
use keeping::{Exporting, Keeping};
use state::State;
use telling::Telling;

use super::cli::ReadOptions;
use super::copy;
use super::course::{Course, FileCourse};
use super::interrupt::Interrupt;
use super::read::{self, FileDone};
use super::say::{complain, remark, write_out};
use super::stretch::Source;
use super::{Exit, Failure, Outcome};
use crate::readings::{ReferenceKind, Target};
use crate::records::Stamp;

/// Whoever asked for an end waits no longer than this for what is just being
/// written: a place may take nothing any more. A choice.
const LONGEST_WRITING: Duration = Duration::from_secs(2);

/// Why it ends before all recordings are told of.
enum Ended {
    /// Whoever read standard output has seen enough.
    NobodyReads,
    Interrupted,
    Failed(Failure),
}

pub(super) fn run(options: &ReadOptions) -> Outcome {
    refuse_what_cannot_be(options)?;
    let found = Found::of(&options.files);
    let target = copy::target(&options.reference.reference())
        .inspect_err(|failure| tell_of_each(options, &found.files, failure))?;
    found.complaints.iter().for_each(|it| complain(it));
    let worst = if found.complaints.is_empty() {
        Exit::Done
    } else {
        Exit::File
    };
    let files = &found.files;
    let keeping = Keeping::open(options)?;
    let state = State::open(options, files);
    let reading = Reading {
        options,
        files,
        target,
        sizes: files.iter().map(|path| size_of(path)).collect(),
        exporting: Exporting::of(options, files, &state),
        state,
        course: Course::default(),
        finished: AtomicUsize::new(0),
        writing: RwLock::default(),
    };
    reading.run(worst, keeping)
}

fn refuse_what_cannot_be(options: &ReadOptions) -> Result<(), Failure> {
    if let (Some(from), Some(to)) = (options.from, options.to)
        && from >= to
    {
        return Err(Failure::new(
            Exit::Usage,
            format!("--from {from} is not before --to {to}; what lies between them is measured"),
        ));
    }
    let reference = options.reference.reference();
    if options.sweep && reference.kind() != ReferenceKind::Tone {
        return Err(Failure::new(
            Exit::Usage,
            format!(
                "--sweep follows the speed of a tone from moment to moment, which {reference} cannot show; record a tone while the trimmer is turned"
            ),
        ));
    }
    Ok(())
}

/// Nothing can be measured: every file has its object all the same.
pub(super) fn tell_of_every_file(options: &ReadOptions, failure: &Failure) {
    tell_of_each(options, &Found::of(&options.files).files, failure);
}

fn tell_of_each(options: &ReadOptions, files: &[PathBuf], failure: &Failure) {
    if options.json {
        let lines = files
            .iter()
            .map(|path| read::not_looked_at(options, path, failure));
        // What cannot be written either is said by nobody.
        let _ = write_out(&lines.collect::<String>());
    }
}

/// Two recordings of one control, before and after cleaning.
fn are_compared(options: &ReadOptions, files: &[PathBuf]) -> bool {
    options.contact && files.len() == 2 && !options.json
}

/// What counts of the way through a file.
fn size_of(path: &Path) -> u64 {
    path.metadata().map_or(1, |it| it.len().max(1))
}

/// A run over recordings.
struct Reading<'a> {
    options: &'a ReadOptions,
    files: &'a [PathBuf],
    target: Target,
    sizes: Vec<u64>,
    state: State,
    course: Course,
    finished: AtomicUsize,
    exporting: Option<Exporting<'a>>,
    /// Read while what came of a recording is written.
    writing: RwLock<()>,
}

impl Reading<'_> {
    fn run(&self, worst: Exit, keeping: Option<(Keeping<'_>, String)>) -> Outcome {
        let interrupt = Interrupt::listen();
        let all_bytes = self.sizes.iter().sum();
        let keeping = keeping.map(|(keeping, news)| {
            if !news.is_empty() {
                remark(&news);
            }
            keeping
        });
        let mut telling = Telling::new(self.options, self.files, worst, all_bytes, keeping);
        let ended = in_order(
            self.files.len(),
            self.threads(),
            |at| self.file(at),
            |now| {
                if interrupt.came() {
                    telling.break_off();
                    return Err(Ended::Interrupted);
                }
                match now {
                    Now::Waiting => telling.wait(&self.course),
                    Now::Done(at, done) => {
                        let done = done.unwrap_or_else(|what| {
                            FileDone::failed(self.options, &self.files[at], &what)
                        });
                        telling.tell(at, done, &self.course)?;
                    }
                }
                Ok(())
            },
            |why| {
                self.course.stop();
                if let Ended::Interrupted = why {
                    self.leave(&interrupt);
                }
            },
        );
        match ended {
            Ok(()) => {
                telling.end()?;
                if telling.is_read() {
                    self.state.end();
                }
                Ok(telling.worst())
            }
            Err(Ended::NobodyReads | Ended::Interrupted) => Ok(telling.worst()),
            Err(Ended::Failed(failure)) => Err(failure),
        }
    }

    fn threads(&self) -> usize {
        let all = || thread::available_parallelism().map_or(1, NonZeroUsize::get);
        self.options.parallel.unwrap_or_else(all)
    }

    /// Measures a recording, unless that was done before.
    fn file(&self, at: usize) -> FileDone {
        let path = &*self.files[at];
        // Before it is read: what changes meanwhile is measured anew.
        let stamp = Stamp::of(path);
        if let Some(done) = self.state.done(stamp.as_ref()) {
            self.course.skip(self.sizes[at]);
            self.finished.fetch_add(1, Ordering::Relaxed);
            return done;
        }
        let course = FileCourse::among(&self.course, self.sizes[at]);
        let source = Source {
            options: self.options,
            path,
            course: &course,
        };
        let mut done = read::one_file(source, &self.target);
        let _writing = self.writing.read();
        // What was broken off is not done.
        if self.course.is_stopped() {
            return done;
        }
        let stamp = stamp.as_ref();
        if let Some(exporting) = &self.exporting {
            let note = |name: &str| self.state.begin_tables(stamp, name);
            exporting.write(at, &mut done, note);
        }
        // What could not be read or written is tried again.
        if done.exit != Exit::File && done.not_exported.is_none() {
            self.state.keep(stamp, &done);
        }
        self.finished.fetch_add(1, Ordering::Relaxed);
        done
    }

    /// What is just being written becomes whole; nothing more is begun once
    /// the course is stopped.
    fn wait_for_writing(&self) {
        let until = Instant::now() + LONGEST_WRITING;
        while let Err(TryLockError::WouldBlock) = self.writing.try_write()
            && Instant::now() < until
        {
            thread::sleep(Duration::from_millis(10));
        }
    }

    /// Ends by the signal that asked for it: a recording that comes through a
    /// pipe may be waited for for ever.
    fn leave(&self, interrupt: &Interrupt) {
        self.wait_for_writing();
        let (done, all) = (self.finished.load(Ordering::Relaxed), self.files.len());
        let go_on = if self.state.save() {
            "; the same command with --resume goes on from there"
        } else {
            ""
        };
        complain(&format!(
            "interrupted with {done} of {all} recordings measured{go_on}"
        ));
        interrupt.end_by_it();
    }
}
