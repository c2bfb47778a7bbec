//! The files of tape cards: one TOML file a tape, written whole or not at all,
//! and never over another one unasked.

use std::ffi::OsStr;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::places::Places;
use super::whole;
use crate::references::{CardTextError, TapeCard};

/// A file larger than this is no card.
const LARGEST_BYTES: u64 = 64 * 1024;

/// Why a card cannot be had or kept.
#[derive(Debug, thiserror::Error)]
pub enum CardError {
    /// There is none.
    #[error("there is no tape card \"{named}\" ({}); {there_are}", path.display())]
    Missing {
        /// As the user named it.
        named: String,
        /// Where it was looked for.
        path: PathBuf,
        /// What there is instead, in words.
        there_are: String,
    },
    /// The file cannot be read.
    #[error("cannot read the tape card {}: {source}; check that it is a file of yours", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The file is no card.
    #[error("{} is no tape card that can be used: {source}; mend that line, or make a new one with tapewright tape", path.display())]
    Unusable {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        source: CardTextError,
    },
    /// One is there already.
    #[error("{} is there already and was left as it is; choose another name, or say --replace", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// It cannot be written; nothing was lost.
    #[error("cannot write the tape card {}: {source}; nothing was changed, so make room or name another file", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// Neither a name nor a file of a card.
    #[error(
        "\"{0}\" is no name for a tape card; write a plain name such as \"tone tape 3\", or a file that ends in .toml"
    )]
    NoName(String),
    /// The system names no folder for data.
    #[error(
        "this system names no folder for data; name one with --data, or give the card as a file, tape.toml"
    )]
    NoFolder,
}

/// The file that a card's name, or a path to it, means. What ends in `.toml` is
/// a path, anything else a name: with a letter or digit and no folder in it.
pub fn file_of(places: &Places, named: &str) -> Result<PathBuf, CardError> {
    let path = Path::new(named);
    let is_toml = |it: &OsStr| it.eq_ignore_ascii_case("toml");
    if path.extension().is_some_and(is_toml) {
        return Ok(path.to_owned());
    }
    let in_folder = named.contains(['/', '\\']) || named.starts_with('.');
    if in_folder || !named.contains(char::is_alphanumeric) {
        return Err(CardError::NoName(named.to_owned()));
    }
    let folder = places.tapes().ok_or(CardError::NoFolder)?;
    Ok(folder.join(format!("{}.toml", plain_name(named))))
}

/// A name that every file system takes.
fn plain_name(name: &str) -> String {
    let letter = |it: char| if it.is_alphanumeric() { it } else { '-' };
    name.trim().to_lowercase().chars().map(letter).collect()
}

/// Reads the card of a name or path.
pub fn read(places: &Places, named: &str) -> Result<TapeCard, CardError> {
    let path = file_of(places, named)?;
    if !path.exists() {
        return Err(CardError::Missing {
            named: named.to_owned(),
            there_are: there_are(places),
            path,
        });
    }
    read_file(&path)
}

fn read_file(path: &Path) -> Result<TapeCard, CardError> {
    let cannot = |source| CardError::Read {
        path: path.to_owned(),
        source,
    };
    if fs::metadata(path).map_err(cannot)?.len() > LARGEST_BYTES {
        let too_large = io::Error::new(io::ErrorKind::InvalidData, "it is too large for a card");
        return Err(cannot(too_large));
    }
    let text = fs::read_to_string(path).map_err(cannot)?;
    TapeCard::from_toml(&text).map_err(|source| CardError::Unusable {
        path: path.to_owned(),
        source,
    })
}

/// All cards of the folder by name, usable or not.
pub fn list(places: &Places) -> Vec<(PathBuf, Result<TapeCard, CardError>)> {
    let entries = places.tapes().and_then(|folder| fs::read_dir(folder).ok());
    let mut paths: Vec<PathBuf> = entries
        .into_iter()
        .flatten()
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|it| it == "toml"))
        .collect();
    paths.sort();
    let card = |path: PathBuf| {
        let card = read_file(&path);
        (path, card)
    };
    paths.into_iter().map(card).collect()
}

fn there_are(places: &Places) -> String {
    let cards = list(places);
    let names: Vec<&str> = cards
        .iter()
        .filter_map(|(_, card)| Some(card.as_ref().ok()?.name.as_str()))
        .collect();
    if names.is_empty() {
        "tapewright tape certify or tapewright tape measure makes one".to_owned()
    } else {
        format!("there are: {}", names.join(", "))
    }
}

/// Writes a card, whole or not at all. One that is there is replaced only where
/// `replace` says so.
pub fn write(path: &Path, card: &TapeCard, replace: bool) -> Result<(), CardError> {
    let cannot = |source| CardError::Write {
        path: path.to_owned(),
        source,
    };
    let text = card
        .to_toml()
        .map_err(|error| cannot(io::Error::new(io::ErrorKind::InvalidData, error)))?;
    if let Some(folder) = path.parent().filter(|it| !it.as_os_str().is_empty()) {
        fs::create_dir_all(folder).map_err(cannot)?;
    }
    let placed = whole::write(path, replace, |mut file| file.write_all(text.as_bytes()));
    placed.map_err(|source| match source.kind() {
        io::ErrorKind::AlreadyExists => CardError::Exists {
            path: path.to_owned(),
        },
        _ => cannot(source),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::references::WithUncertainty;
    use crate::units::Percent;

    fn card(error: f64) -> TapeCard {
        let own = WithUncertainty {
            value: Percent(error),
            uncertainty: Percent(0.1),
        };
        TapeCard::certified("a", own, None, "2026-11-26".to_owned())
    }

    #[test]
    fn a_card_is_never_lost_to_another() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("new").join("a.toml");
        write(&path, &card(0.1), false).unwrap();
        let again = write(&path, &card(0.2), false).unwrap_err();
        assert!(matches!(again, CardError::Exists { .. }), "{again}");
        assert_eq!(read_file(&path).unwrap(), card(0.1));
        write(&path, &card(0.2), true).unwrap();
        assert_eq!(read_file(&path).unwrap(), card(0.2));
        assert_eq!(fs::read_dir(path.parent().unwrap()).unwrap().count(), 1);
    }

    #[test]
    fn a_name_lies_in_the_usual_folder_and_a_path_where_it_says() {
        assert_eq!(
            file_of(&Places::default(), "x/a.toml").unwrap(),
            Path::new("x/a.toml")
        );
        assert_eq!(
            file_of(&Places::default(), "a.toml").unwrap(),
            Path::new("a.toml")
        );
        for odd in ["a/b", "../evil", "x/", "a\\b", "..", "", " ", ".toml"] {
            assert!(
                matches!(file_of(&Places::default(), odd), Err(CardError::NoName(_))),
                "{odd}"
            );
        }
        if let Ok(path) = file_of(&Places::default(), "Tone Tape 3") {
            assert!(path.ends_with("tapes/tone-tape-3.toml"), "{path:?}");
        }
    }
}
