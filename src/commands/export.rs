//! Tables into files. No name of a job or a recording leads out of the folder
//! that was named, and nothing that is there is replaced unasked.

use std::collections::HashSet;
use std::fs::{self, Metadata};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::cli::TablesFormat;
use super::{Exit, Failure};
use crate::records::{jobs, whole};
use crate::report::tables::{self, Table};

/// Where to, and how.
#[derive(Clone, Copy, Debug)]
pub(super) struct Export<'a> {
    pub(super) folder: &'a Path,
    pub(super) format: TablesFormat,
    pub(super) replace: bool,
}

impl Export<'_> {
    /// Writes tables into files whose names begin with `stem`; nothing where one
    /// of them is there and stays.
    pub(super) fn write(self, stem: &str, tables: &[Table]) -> Result<Vec<PathBuf>, Failure> {
        self.write_noting(stem, tables, || ())
    }

    /// The same; `note` is called once nothing is in the way, before anything is
    /// written.
    pub(super) fn write_noting(
        self,
        stem: &str,
        tables: &[Table],
        note: impl FnOnce(),
    ) -> Result<Vec<PathBuf>, Failure> {
        let files = match self.format {
            TablesFormat::Json => vec![(format!("{stem}.json"), tables::json(tables) + "\n")],
            TablesFormat::Csv => tables
                .iter()
                .map(|table| (format!("{stem}-{}.csv", table.name), table.csv()))
                .collect(),
        };
        let paths: Vec<PathBuf> = (files.iter())
            .map(|(name, _)| self.folder.join(name))
            .collect();
        let wanted = paths.iter().zip(files.iter().map(|(_, text)| text));
        let missing: Vec<_> = wanted.filter(|(path, text)| !holds(path, text)).collect();
        let is_in_the_way = |(path, _): &&(&PathBuf, _)| path.symlink_metadata().is_ok();
        if let Some((path, _)) = missing.iter().find(is_in_the_way).filter(|_| !self.replace) {
            return Err(exists(path));
        }
        fs::create_dir_all(self.folder).map_err(|error| cannot(self.folder, &error))?;
        note();
        for (path, text) in missing {
            put(path, text.as_bytes(), self.replace)?;
        }
        Ok(paths)
    }
}

/// Whether it is there to the letter, as a run that was broken off leaves it.
fn holds(path: &Path, text: &str) -> bool {
    let may_be = |it: Metadata| it.is_file() && it.len() == text.len() as u64;
    path.metadata().is_ok_and(may_be) && fs::read(path).is_ok_and(|there| there == text.as_bytes())
}

/// Writes a file whole, or says why not.
pub(super) fn put(path: &Path, bytes: &[u8], replace: bool) -> Result<(), Failure> {
    let written = whole::write(path, replace, |mut file| file.write_all(bytes));
    written.map_err(|error| match error.kind() {
        io::ErrorKind::AlreadyExists => exists(path),
        _ => cannot(path, &error),
    })
}

pub(super) fn exists(path: &Path) -> Failure {
    let path = path.display();
    let sentence = format!(
        "{path} is there already and was left as it is; name another place, or say --replace"
    );
    Failure::new(Exit::File, sentence)
}

fn cannot(path: &Path, error: &io::Error) -> Failure {
    let path = path.display();
    Failure::new(
        Exit::File,
        format!("cannot write {path}: {error}; make room or name another place"),
    )
}

/// A name for the tables of each recording, in their order: one that it has
/// already, else that of its file made plain, each another one.
pub(super) fn stems(files: &[PathBuf], had: &[Option<String>]) -> Vec<String> {
    let mut taken: HashSet<String> = had.iter().flatten().cloned().collect();
    let mut stem = |path: &PathBuf| {
        let name = path.file_stem().unwrap_or_default().to_string_lossy();
        let plain = jobs::file_name(&name);
        let plain = match plain.trim_matches('-') {
            "" => "recording",
            it => it,
        };
        let numbered = (2..).map(|number: u32| format!("{plain}-{number}"));
        let mut names = std::iter::once(plain.to_owned()).chain(numbered);
        let free = names.find(|name| taken.insert(name.clone()));
        free.unwrap_or_default()
    };
    let both = files.iter().zip(had);
    both.map(|(path, had)| had.clone().unwrap_or_else(|| stem(path)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_recordings_share_a_name_and_none_leads_elsewhere() {
        let files = [
            "a/side a.wav",
            "b/Side-A.flac",
            "side-a-2.wav",
            "../../etc/passwd",
            "-rf *.wav",
            "..",
            "x\u{1b}[2J\u{202e}.wav",
            "---.wav",
        ];
        let names = stems(&files.map(PathBuf::from), &[const { None }; 8]);
        let expected = [
            "side-a",
            "side-a-2",
            "side-a-2-2",
            "passwd",
            "rf",
            "recording",
            "x--2j",
            "recording-2",
        ];
        assert_eq!(names, expected);
        let files = ["new/a.wav", "a.wav", "b/a.wav"].map(PathBuf::from);
        let had = [None, Some("a".to_owned()), None];
        assert_eq!(stems(&files, &had), ["a-2", "a", "a-3"]);
    }
}
