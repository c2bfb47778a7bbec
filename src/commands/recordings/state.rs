//! What is done of a run over several recordings, so that `--resume` can go on
//! with it.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::commands::cli::ReadOptions;
use crate::commands::read::FileDone;
use crate::commands::say::remark;
use crate::records::{Stamp, Unfinished, UnfinishedError};
use crate::references::Reference;

/// Kept by whoever has just measured a recording.
pub(super) struct State(Mutex<Option<Unfinished<FileDone>>>);

impl State {
    /// Of one recording nothing is kept, nor of two that are compared with each
    /// other.
    pub(super) fn open(options: &ReadOptions, files: &[PathBuf]) -> Self {
        let is_one = files.len() < 2;
        // What goes into a job is not kept there twice, so that it can be begun anew.
        let by_job = options.job.job.is_some();
        if is_one || by_job || super::are_compared(options, files) {
            return Self(Mutex::new(None));
        }
        let places = options.reference.data.places();
        let opened = Unfinished::open(&places, &work(options), options.resume);
        match &opened {
            Ok(_) if !options.resume => {}
            Ok(left) => match left.count(files.iter().filter_map(|it| Stamp::of(it))) {
                0 => remark(
                    "nothing is left of an interrupted run with these files, options and version; all is measured",
                ),
                count => remark(&format!(
                    "measured before: {count} of {} recordings; what has changed since is measured again",
                    files.len()
                )),
            },
            Err(error) => not_kept(error),
        }
        Self(Mutex::new(opened.ok()))
    }

    /// No panic leaves it half changed.
    fn kept(&self) -> MutexGuard<'_, Option<Unfinished<FileDone>>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What came of a recording before.
    pub(super) fn done(&self, stamp: Option<&Stamp>) -> Option<FileDone> {
        self.kept().as_ref()?.done(stamp?)
    }

    /// Name of the tables that were begun for a recording before.
    pub(super) fn tables(&self, path: &Path) -> Option<String> {
        let kept = self.kept();
        let begun = kept.as_ref()?.begun(&Stamp::of(path)?)?;
        Some(begun.to_owned())
    }

    /// Notes that tables of this name are begun for one.
    pub(super) fn begin_tables(&self, stamp: Option<&Stamp>, name: &str) {
        self.write(stamp, |unfinished, stamp| unfinished.begin(stamp, name));
    }

    /// Keeps what came of one.
    pub(super) fn keep(&self, stamp: Option<&Stamp>, done: &FileDone) {
        self.write(stamp, |unfinished, stamp| unfinished.keep(stamp, done));
    }

    /// Where that cannot be, it is told once, and the measuring goes on.
    fn write(
        &self,
        stamp: Option<&Stamp>,
        write: impl FnOnce(&mut Unfinished<FileDone>, &Stamp) -> io::Result<()>,
    ) {
        let mut kept = self.kept();
        if let (Some(stamp), Some(unfinished)) = (stamp, kept.as_mut())
            && let Err(source) = write(unfinished, stamp)
        {
            let path = unfinished.path().to_owned();
            *kept = None;
            not_kept(&UnfinishedError::Disk { path, source });
        }
    }

    /// Safe on the disk; false where nothing is kept.
    pub(super) fn save(&self) -> bool {
        self.kept().as_mut().is_some_and(|it| it.save().is_ok())
    }

    /// All was told.
    pub(super) fn end(&self) {
        if let Some(unfinished) = self.kept().take() {
            unfinished.end();
        }
    }
}

fn not_kept(error: &UnfinishedError) {
    remark(&format!(
        "what is done cannot be kept for --resume: {error}; it is measured all the same"
    ));
}

/// All that a result depends on besides its file: the version, where names of
/// files count from, the options, and the copy that is measured by.
fn work(options: &ReadOptions) -> String {
    let asked = ReadOptions {
        resume: false,
        parallel: None,
        // It changes what is written over, and no result.
        replace: false,
        ..options.clone()
    };
    let copy = match options.reference.reference() {
        Reference::Recording(path) => Stamp::of(Path::new(&path)),
        _ => None,
    };
    let version = env!("CARGO_PKG_VERSION");
    let folder = std::env::current_dir();
    format!("{version} {folder:?} {asked:?} {copy:?}")
}
