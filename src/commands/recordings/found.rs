//! Which recordings are meant: files as they were named, and those in folders.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Ends of the names of recordings, of the kinds that `tapewright read --help`
/// names.
const ENDINGS: [&str; 14] = [
    "wav", "wave", "bwf", "rf64", "bw64", "flac", "aif", "aiff", "aifc", "mp3", "ogg", "oga",
    "m4a", "caf",
];

/// What was found.
#[derive(Debug, Default)]
pub(super) struct Found {
    pub files: Vec<PathBuf>,
    /// Folders that hold none, or cannot be looked into, in a sentence each.
    pub complaints: Vec<String>,
}

impl Found {
    /// A file that was named is always tried; a folder is looked through with
    /// all folders in it.
    pub(super) fn of(named: &[PathBuf]) -> Self {
        let mut found = Self::default();
        for path in named {
            if path.is_dir() {
                found.look_through(path);
            } else {
                found.files.push(path.clone());
            }
        }
        found
    }

    fn look_through(&mut self, folder: &Path) {
        let mut walk = Walk::default();
        walk.folder(folder);
        walk.files.sort();
        if walk.files.is_empty() && walk.complaints.is_empty() {
            let path = folder.display();
            walk.complaints.push(format!(
                "{path}: no recordings in this folder (names that end in {}); name the files themselves",
                ENDINGS.map(|it| format!(".{it}")).join(", ")
            ));
        }
        self.files.append(&mut walk.files);
        self.complaints.append(&mut walk.complaints);
    }
}

/// The way through one folder that was named.
#[derive(Default)]
struct Walk {
    files: Vec<PathBuf>,
    complaints: Vec<String>,
    /// Where it has been, by the true names: a link may lead round in a circle.
    been: BTreeSet<PathBuf>,
}

impl Walk {
    fn folder(&mut self, folder: &Path) {
        let entries = fs::canonicalize(folder).and_then(|true_name| {
            if self.been.insert(true_name) {
                fs::read_dir(folder)?.collect::<Result<Vec<_>, _>>()
            } else {
                Ok(Vec::new())
            }
        });
        let entries = match entries {
            Ok(entries) => entries,
            Err(error) => {
                let path = folder.display();
                self.complaints.push(format!(
                    "{path}: this folder cannot be looked into: {error}; check its permissions"
                ));
                return;
            }
        };
        let mut paths: Vec<PathBuf> = (entries.iter())
            .filter(|entry| !entry.file_name().as_encoded_bytes().starts_with(b"."))
            .map(fs::DirEntry::path)
            .collect();
        // Also where links make a choice, it is the same every time.
        paths.sort();
        for path in paths {
            if path.is_dir() {
                self.folder(&path);
            } else if is_recording(&path) {
                self.files.push(path);
            }
        }
    }
}

/// By its name. What is there but no file (a pipe, a device) would be waited
/// for; a link that leads nowhere is told like a file that cannot be read.
fn is_recording(path: &Path) -> bool {
    let ending = path.extension().and_then(|it| it.to_str());
    let known = ending.is_some_and(|it| ENDINGS.iter().any(|known| it.eq_ignore_ascii_case(known)));
    known && path.metadata().map_or(true, |it| it.is_file())
}
