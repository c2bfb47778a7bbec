//! What is done with what was measured, besides telling it: it goes into a job,
//! and into tables.

use std::fs;
use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::state::State;
use crate::commands::cli::ReadOptions;
use crate::commands::export::{self, Export};
use crate::commands::read::{FileDone, ToKeep};
use crate::commands::sitting_job::{self, SittingJobs};
use crate::commands::{Exit, Failure};
use crate::readings::Measurement;
use crate::records::places::Kind;
use crate::records::{Entry, JobFile, Label, LinesError, Snapshot};
use crate::report::json;
use crate::report::numbers::plain;
use crate::screen::SourceKind;

/// A job that was named may say which machine was recorded.
pub(in crate::commands) fn take_machine(options: &mut ReadOptions) -> Result<(), Failure> {
    if options.machine.is_none() {
        let places = options.reference.data.places();
        options.machine = sitting_job::machine_of(&places, Kind::Measured, &options.job)?;
        options.machine_of_job = options.machine.is_some();
    }
    Ok(())
}

/// The tables of recordings, written as each is measured.
pub(super) struct Exporting<'a> {
    export: Export<'a>,
    stems: Vec<String>,
    /// Which of them a run that was broken off has begun: those are its own.
    begun: Vec<bool>,
}

impl<'a> Exporting<'a> {
    /// `None` where none were asked for.
    pub(super) fn of(options: &'a ReadOptions, files: &[PathBuf], state: &State) -> Option<Self> {
        let export = Export {
            folder: options.export.as_deref()?,
            format: options.export_format,
            replace: options.replace,
        };
        let had: Vec<_> = files.iter().map(|it| state.tables(it)).collect();
        Some(Self {
            export,
            stems: export::stems(files, &had),
            begun: had.iter().map(Option::is_some).collect(),
        })
    }

    /// What cannot be written is told, and the next recording gets its turn.
    /// `note` is given the name of the tables before they are written.
    pub(super) fn write(&self, at: usize, done: &mut FileDone, note: impl FnOnce(&str)) {
        let tables = std::mem::take(&mut done.tables);
        if !tables.is_empty() {
            let stem = &*self.stems[at];
            let mut export = self.export;
            export.replace |= self.begun[at];
            let written = export.write_noting(stem, &tables, || note(stem));
            done.not_exported = written.err().map(|failure| failure.message);
        }
    }
}

/// The job that recordings go into, in their order.
pub(super) struct Keeping<'a> {
    options: &'a ReadOptions,
    jobs: SittingJobs,
    /// The job as it stands, and how long its file is: while it stays so, it is
    /// not read again.
    job: Option<(JobFile, u64)>,
}

/// Why a recording is not kept.
#[derive(Debug)]
pub(super) enum Unkept {
    /// For what it is; others can be.
    ThisOne(String),
    /// Nothing can be kept any more.
    Any(Failure),
}

impl<'a> Keeping<'a> {
    /// `None` where none was named. It must be usable before anything is
    /// measured; what is to be told about it comes back.
    pub(super) fn open(options: &'a ReadOptions) -> Result<Option<(Self, String)>, Failure> {
        if options.job.job.is_none() {
            return Ok(None);
        }
        let places = options.reference.data.places();
        // What the job says itself fits it, however often it is corrected.
        let typed = options.machine.as_deref();
        let machine = typed.filter(|_| !options.machine_of_job);
        let (jobs, news) =
            SittingJobs::open(&places, SourceKind::Recording, &options.job, machine)?;
        let news = news.map(|(_, news)| news).unwrap_or_default();
        let job = None;
        Ok(Some((Self { options, jobs, job }, news)))
    }

    /// The job with all that is in it by now, whoever has put it there.
    fn file(&mut self) -> Result<JobFile, Failure> {
        let known = self.job.take();
        if let Some((file, _)) = known.filter(|(file, length)| length_of(file) == Some(*length)) {
            return Ok(file);
        }
        let file = self.jobs.file_for(self.options.machine.as_deref());
        let (file, _) = file.map_err(|why| Failure::new(Exit::File, why))?;
        Ok(file)
    }

    /// Keeps one, unless it is there already; says which.
    pub(super) fn keep(&mut self, path: &Path, what: ToKeep) -> Result<String, Unkept> {
        let mut file = self.file().map_err(Unkept::Any)?;
        let kept = self.keep_in(&mut file, path, what);
        self.job = length_of(&file).map(|length| (file, length));
        kept
    }

    fn keep_in(&self, file: &mut JobFile, path: &Path, what: ToKeep) -> Result<String, Unkept> {
        let name = plain(&file.job().name);
        let (of, is_there, entry) = match what {
            ToKeep::Wiper(report) => {
                let report = report.writable();
                let said = json::sweep(&report);
                let checks = &file.job().wipers;
                let is_there = checks.iter().any(|it| json::sweep(&it.report) == said);
                let entry = Entry::Wiper(Box::new(report));
                ("a check of the wiper".to_owned(), is_there, entry)
            }
            ToKeep::Measurement(measurement) => {
                let snapshot = self.snapshot(path, *measurement);
                let of = plain(&snapshot.label.to_string());
                let is_there = is_in(file, &snapshot);
                (of, is_there, Entry::Snapshot(Box::new(snapshot)))
            }
        };
        let recording = plain(&path.to_string_lossy());
        if is_there {
            return Ok(format!(
                "{recording} is in the job \"{name}\" as {of} already, and is not kept again"
            ));
        }
        file.add(entry).map_err(|error| match error {
            LinesError::Unwritable { .. } => Unkept::ThisOne(format!("{recording}: {error}")),
            _ => Unkept::Any(Failure::new(Exit::File, error.to_string())),
        })?;
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

fn length_of(file: &JobFile) -> Option<u64> {
    fs::metadata(file.path()).ok().map(|it| it.len())
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

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::commands::cli::{JobOptions, ReferenceOptions};
    use crate::readings::{SweepReport, Track};
    use crate::records::About;
    use crate::records::places::Places;
    use crate::units::{Percent, Seconds};

    fn options(folder: &Path) -> ReadOptions {
        let mut options = ReadOptions::of_reference(ReferenceOptions::default());
        options.reference.data.folder = Some(folder.to_owned());
        options.job = JobOptions {
            job: Some("deck".to_owned()),
            ..JobOptions::default()
        };
        options
    }

    fn measurement(steps: usize) -> ToKeep {
        let track = Track {
            from: Seconds(0.0),
            step: Seconds(0.1),
            speed: vec![Some(Percent(0.1)); steps],
            flutter: vec![Some(Percent(0.05)); steps],
        };
        ToKeep::Measurement(Box::new(Measurement {
            track: Some(track),
            ..Measurement::default()
        }))
    }

    fn job_in(folder: &Path) -> JobFile {
        let places = Places::in_folder(folder.to_owned());
        let path = crate::records::jobs::file_of(&places, Kind::Measured, "deck");
        let (file, warnings) = JobFile::open(path.expect("a name")).expect("a job");
        assert!(warnings.is_empty(), "{warnings:?}");
        file
    }

    /// Bytes that this thread has read so far.
    fn bytes_read() -> u64 {
        let text = fs::read_to_string("/proc/thread-self/io").expect("as Linux tells it");
        let line = text.lines().find_map(|it| it.strip_prefix("rchar: "));
        line.and_then(|it| it.parse().ok()).expect("a number")
    }

    #[test]
    fn a_long_job_is_not_read_again_for_each_recording() {
        let folder = tempfile::tempdir().expect("a folder");
        let options = options(folder.path());
        let (mut keeping, _) = Keeping::open(&options).ok().flatten().expect("a job");
        let before = bytes_read();
        for nth in 0..40 {
            let path = format!("{nth}.wav");
            let kept = keeping.keep(Path::new(&path), measurement(1000));
            assert!(kept.is_ok());
        }
        let read = bytes_read() - before;
        let file = job_in(folder.path());
        let size = fs::metadata(file.path()).expect("a file").len();
        assert_eq!(file.job().snapshots.len(), 40);
        assert!(read < size, "{read} bytes read, the job has {size}");
        // What another program adds in between is seen all the same.
        let (mut other, _) = Keeping::open(&options).ok().flatten().expect("a job");
        assert!(other.keep(Path::new("other.wav"), measurement(10)).is_ok());
        let again = keeping.keep(Path::new("other.wav"), measurement(10));
        assert!(again.is_ok_and(|it| it.contains("not kept again")));
    }

    #[test]
    fn a_job_whose_machine_is_corrected_meanwhile_takes_what_was_measured_for_it() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut options = options(folder.path());
        options.machine = Some("deck 1".to_owned());
        let (mut first, _) = Keeping::open(&options).ok().flatten().expect("a job");
        // Into a job without any, all would fit.
        assert!(first.keep(Path::new("0.wav"), measurement(3)).is_ok());
        let correct = |machine| {
            let said = job_in(folder.path()).say(About::Machine, machine);
            assert!(said.is_ok());
        };
        options.machine = None;
        assert!(take_machine(&mut options).is_ok());
        assert_eq!(options.machine.as_deref(), Some("deck 1"));
        correct("deck 2");
        let (mut keeping, _) = Keeping::open(&options).ok().flatten().expect("a job");
        assert!(keeping.keep(Path::new("a.wav"), measurement(1)).is_ok());
        correct("deck 3");
        assert!(keeping.keep(Path::new("b.wav"), measurement(2)).is_ok());
        let file = job_in(folder.path());
        let machines = file.job().snapshots.iter().map(|it| it.machine.as_deref());
        assert_eq!(machines.collect::<Vec<_>>(), [Some("deck 3"); 3]);
        // Whoever says which machine it is means that one.
        options.machine_of_job = false;
        assert!(Keeping::open(&options).is_err());
    }

    #[test]
    fn a_track_is_kept_as_fine_as_a_picture_needs_it() {
        let folder = tempfile::tempdir().expect("a folder");
        let options = options(folder.path());
        let (mut keeping, _) = Keeping::open(&options).ok().flatten().expect("a job");
        assert!(
            keeping
                .keep(Path::new("a.wav"), measurement(16_000))
                .is_ok()
        );
        let file = job_in(folder.path());
        let track = file.job().snapshots[0].measurement.track.as_ref();
        let track = track.expect("it was kept");
        assert_eq!((track.speed.len(), track.step), (1000, Seconds(1.6)));
        assert!(fs::metadata(file.path()).is_ok_and(|it| it.len() < 30_000));
    }

    #[test]
    fn evidence_without_end_is_kept_and_what_cannot_be_is_one_recordings_own() {
        let folder = tempfile::tempdir().expect("a folder");
        let options = options(folder.path());
        let (mut keeping, _) = Keeping::open(&options).ok().flatten().expect("a job");
        let report = SweepReport {
            evidence: f64::INFINITY,
            ..SweepReport::default()
        };
        let wiper = || ToKeep::Wiper(Arc::new(report.clone()));
        assert!(keeping.keep(Path::new("sweep.wav"), wiper()).is_ok());
        let again = keeping.keep(Path::new("sweep.wav"), wiper());
        assert!(again.is_ok_and(|it| it.contains("not kept again")));
        assert_eq!(job_in(folder.path()).job().wipers.len(), 1);
        let nonsense = ToKeep::Measurement(Box::new(Measurement {
            duration: Seconds(f64::NAN),
            ..Measurement::default()
        }));
        let refused = keeping.keep(Path::new("odd.wav"), nonsense);
        assert!(matches!(&refused, Err(Unkept::ThisOne(why)) if why.starts_with("odd.wav: ")));
        assert!(keeping.keep(Path::new("good.wav"), measurement(1)).is_ok());
        assert_eq!(job_in(folder.path()).job().snapshots.len(), 1);
    }
}
