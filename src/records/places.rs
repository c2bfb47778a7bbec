//! Where records lie when nobody says otherwise: the platform's data folder.

use std::path::PathBuf;

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
}

/// The usual record file of a kind; `None` where the system names no home
/// folder.
pub fn usual(kind: Kind) -> Option<PathBuf> {
    in_data_folder(kind.file_name())
}

/// The usual file of measured sample clocks; `None` as above.
pub fn clocks() -> Option<PathBuf> {
    in_data_folder("clocks.jsonl")
}

/// The folder of tape cards; `None` as above.
pub fn tapes() -> Option<PathBuf> {
    in_data_folder("tapes")
}

fn in_data_folder(file_name: &str) -> Option<PathBuf> {
    let folders = ProjectDirs::from("", "", "tapewright")?;
    Some(folders.data_dir().join(file_name))
}
