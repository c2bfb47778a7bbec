//! What is done with what was measured, besides telling it: it goes into a job,
//! and into tables.

use std::fs;
use std::path::{Path, PathBuf};

use jiff::Timestamp;

use crate::commands::cli::ReadOptions;
use crate::commands::export::{self, Export};
use crate::commands::read::{FileDone, ToKeep};
use crate::commands::sitting_job::{self, SittingJobs};
use crate::commands::{Exit, Failure};
use crate::readings::Measurement;
use crate::records::places::Kind;
use crate::records::{Entry, JobFile, Label, Snapshot};
use crate::report::json;
use crate::report::numbers::plain;
use crate::screen::SourceKind;

/// A job that was named may say which machine was recorded.
pub(in crate::commands) fn take_machine(options: &mut ReadOptions) -> Result<(), Failure> {
    if options.machine.is_none() {
        let places = options.reference.data.places();
        options.machine = sitting_job::machine_of(&places, Kind::Measured, &options.job)?;
    }
    Ok(())
}

/// The tables of recordings, written as each is measured.
pub(super) struct Exporting<'a> {
    export: Export<'a>,
    stems: Vec<String>,
}

impl<'a> Exporting<'a> {
    /// `None` where none were asked for.
    pub(super) fn of(options: &'a ReadOptions, files: &[PathBuf]) -> Option<Self> {
        let export = Export {
            folder: options.export.as_deref()?,
            format: options.export_format,
            replace: options.replace,
        };
        let stems = export::stems(files);
        Some(Self { export, stems })
    }

    /// What cannot be written is told, and the next recording gets its turn.
    pub(super) fn write(&self, at: usize, done: &mut FileDone) {
        let tables = std::mem::take(&mut done.tables);
        if !tables.is_empty() {
            let written = self.export.write(&self.stems[at], &tables);
            done.not_exported = written.err().map(|failure| failure.message);
        }
    }
}

/// The job that recordings go into, in their order.
pub(super) struct Keeping<'a> {
    options: &'a ReadOptions,
    jobs: SittingJobs,
}

impl<'a> Keeping<'a> {
    /// `None` where none was named. It must be usable before anything is
    /// measured; what is to be told about it comes back.
    pub(super) fn open(options: &'a ReadOptions) -> Result<Option<(Self, String)>, Failure> {
        if options.job.job.is_none() {
            return Ok(None);
        }
        let places = options.reference.data.places();
        let machine = options.machine.as_deref();
        let (jobs, news) =
            SittingJobs::open(&places, SourceKind::Recording, &options.job, machine)?;
        let news = news.map(|(_, news)| news).unwrap_or_default();
        Ok(Some((Self { options, jobs }, news)))
    }

    /// Keeps one, unless it is there already; says which.
    pub(super) fn keep(&mut self, path: &Path, what: ToKeep) -> Result<String, Failure> {
        let unkept = |why: String| Failure::new(Exit::File, why);
        let machine = self.options.machine.as_deref();
        let (mut file, _) = self.jobs.file_for(machine).map_err(unkept)?;
        let name = plain(&file.job().name);
        let (of, is_there, entry) = match what {
            ToKeep::Wiper(report) => {
                let said = json::sweep(&report);
                let checks = &file.job().wipers;
                let is_there = checks.iter().any(|it| json::sweep(&it.report) == said);
                let entry = Entry::Wiper(Box::new((*report).clone()));
                ("a check of the wiper".to_owned(), is_there, entry)
            }
            ToKeep::Measurement(measurement) => {
                let snapshot = self.snapshot(path, *measurement);
                let of = plain(&snapshot.label.to_string());
                let is_there = is_in(&file, &snapshot);
                (of, is_there, Entry::Snapshot(Box::new(snapshot)))
            }
        };
        let recording = plain(&path.to_string_lossy());
        if is_there {
            return Ok(format!(
                "{recording} is in the job \"{name}\" as {of} already, and is not kept again"
            ));
        }
        file.add(entry).map_err(|error| unkept(error.to_string()))?;
        Ok(format!("{recording} is kept as {of} in the job \"{name}\""))
    }

    fn snapshot(&self, path: &Path, measurement: Measurement) -> Snapshot {
        let label = self.options.keep_as.clone().unwrap_or_else(|| {
            let name = path.file_name().unwrap_or_default();
            Label::Named(name.to_string_lossy().into())
        });
        let mut snapshot = Snapshot::new(label, path.to_string_lossy(), measurement);
        snapshot.machine.clone_from(&self.options.machine);
        snapshot.tolerance = Some(self.options.tolerance.half_width);
        let card = self.options.reference.card.as_ref();
        snapshot.tape = card.map(|it| it.name.clone());
        if let Some(written) = written_at(path) {
            // A clock may have been wrong; nothing is taken in times to come.
            snapshot.taken_at = written.min(snapshot.taken_at);
        }
        snapshot
    }
}

/// When a file was last written: mostly when it was recorded.
fn written_at(path: &Path) -> Option<Timestamp> {
    let found = fs::metadata(path).ok().filter(fs::Metadata::is_file)?;
    found.modified().ok()?.try_into().ok()
}

/// The same figures under the same label, wherever the recording lies by now.
fn is_in(file: &JobFile, new: &Snapshot) -> bool {
    let is_it =
        |it: &Snapshot| it.label == new.label && json::is_one(&it.measurement, &new.measurement);
    file.job().snapshots.iter().any(is_it)
}
