//! Where records lie when nobody says otherwise: the platform's data folder.

use std::path::{Path, PathBuf};

use directories::ProjectDirs;

/// Which record: what is simulated never mixes with what was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Real machines.
    Measured,
    /// The simulated machine.
    Rehearsal,
}

impl Kind {
    fn file_name(self) -> &'static str {
        match self {
            Self::Measured => "snapshots.jsonl",
            Self::Rehearsal => "rehearsal.jsonl",
        }
    }

    fn jobs_name(self) -> &'static str {
        match self {
            Self::Measured => "jobs",
            Self::Rehearsal => "rehearsals",
        }
    }
}

fn project() -> Option<ProjectDirs> {
    ProjectDirs::from("", "", "tapewright")
}

/// The file of settings, which the user may write; `None` where the system names
/// no folder for it.
pub fn settings() -> Option<PathBuf> {
    Some(project()?.config_dir().join("settings.toml"))
}

/// The folder for all that is kept: the one that was named, else the system's.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Places {
    named: Option<PathBuf>,
}

impl Places {
    /// In this folder.
    pub fn in_folder(named: PathBuf) -> Self {
        Self { named: Some(named) }
    }

    /// Somebody has said which.
    pub fn are_named(&self) -> bool {
        self.named.is_some()
    }

    /// The folder that was named.
    pub fn named_folder(&self) -> Option<&Path> {
        self.named.as_deref()
    }

    /// The folder of jobs of a kind; `None` where nobody named a folder and the
    /// system has none.
    pub fn jobs(&self, kind: Kind) -> Option<PathBuf> {
        self.file(kind.jobs_name())
    }

    /// The record file of a kind, which earlier versions wrote; `None` as above.
    pub fn record(&self, kind: Kind) -> Option<PathBuf> {
        self.file(kind.file_name())
    }

    /// The file of measured sample clocks; `None` as above.
    pub fn clocks(&self) -> Option<PathBuf> {
        self.file("clocks.jsonl")
    }

    /// The folder of what is not finished yet; `None` as above.
    pub(super) fn unfinished(&self) -> Option<PathBuf> {
        self.file("unfinished")
    }

    /// The folder of a kind of card; `None` as above.
    pub(super) fn cards(&self, kind: &str) -> Option<PathBuf> {
        self.file(kind)
    }

    /// The folder itself; `None` as above.
    pub fn folder(&self) -> Option<PathBuf> {
        let usual = || Some(project()?.data_dir().to_owned());
        self.named.clone().or_else(usual)
    }

    fn file(&self, name: &str) -> Option<PathBuf> {
        Some(self.folder()?.join(name))
    }
}
