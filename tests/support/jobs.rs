//! The files of jobs that a test's program wrote.

use std::fs;
use std::path::{Path, PathBuf};

use tapewright::records::{Job, JobFile};

/// The files of a folder of jobs, by name.
pub fn job_files(folder: &Path) -> Vec<PathBuf> {
    let files = fs::read_dir(folder).expect("a folder of jobs");
    let mut files: Vec<_> = files.map(|it| it.expect("a file").path()).collect();
    files.sort();
    files
}

/// What a file of a job comes to, without a fault in it.
pub fn whole_job(path: &Path) -> Job {
    let (file, warnings) = JobFile::open(path).unwrap_or_else(|error| panic!("{error}"));
    assert!(warnings.is_empty(), "{warnings:?}");
    file.job().clone()
}

/// The only job of a folder, and nothing beside it.
pub fn only_job(folder: &Path) -> Job {
    match &job_files(folder)[..] {
        [file] => whole_job(file),
        files => panic!("{files:?}"),
    }
}
