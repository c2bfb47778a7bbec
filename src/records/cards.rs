//! The files of cards of reference tapes and of parts of machines: one TOML
//! file each, written whole or not at all, and never over another one unasked.

use std::ffi::OsStr;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::places::Places;
use super::whole;
use crate::references::parts::{PartsCard, generic};
use crate::references::{CardTextError, TapeCard, same_machine};

/// What kinds of card differ in.
#[derive(Debug, PartialEq, Eq)]
pub struct Kind {
    /// What it is called.
    what: &'static str,
    /// A name for one, as an example.
    example: &'static str,
    /// What makes one.
    maker: &'static str,
    /// The folder of all of them.
    folder: &'static str,
}

/// A kind of card.
pub trait Card: Clone + Sized + 'static {
    /// Which.
    const KIND: Kind;
    /// From its text.
    fn of_toml(text: &str) -> Result<Self, CardTextError>;
    /// Its text.
    fn toml(&self) -> Result<String, toml::ser::Error>;
    /// What it is of.
    fn name(&self) -> &str;
    /// Those that come with the program.
    fn built_in() -> &'static [Self] {
        &[]
    }
}

impl Card for TapeCard {
    const KIND: Kind = Kind {
        what: "tape card",
        example: "tone tape 3",
        maker: "tapewright tape",
        folder: "tapes",
    };

    fn of_toml(text: &str) -> Result<Self, CardTextError> {
        Self::from_toml(text)
    }

    fn toml(&self) -> Result<String, toml::ser::Error> {
        self.to_toml()
    }

    fn name(&self) -> &str {
        &self.name
    }
}

impl Card for PartsCard {
    const KIND: Kind = Kind {
        what: "parts card",
        example: "bench deck",
        maker: "tapewright parts",
        folder: "parts",
    };

    fn of_toml(text: &str) -> Result<Self, CardTextError> {
        Self::from_toml(text)
    }

    fn toml(&self) -> Result<String, toml::ser::Error> {
        self.to_toml()
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn built_in() -> &'static [Self] {
        generic()
    }
}

/// Why a card cannot be had or kept.
#[derive(Debug, thiserror::Error)]
pub enum CardError {
    /// There is none.
    #[error("there is no {} \"{named}\" ({}); {there_are}", kind.what, path.display())]
    Missing {
        /// Of which kind.
        kind: &'static Kind,
        /// As the user named it.
        named: String,
        /// Where it was looked for.
        path: PathBuf,
        /// What there is instead, in words.
        there_are: String,
    },
    /// The file cannot be read.
    #[error("cannot read the {} {}: {source}; check that it is a file of yours", kind.what, path.display())]
    Read {
        /// Of which kind.
        kind: &'static Kind,
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The file is no card.
    #[error("{} is no {} that can be used: {source}; mend that line, or make a new one with {}", path.display(), kind.what, kind.maker)]
    Unusable {
        /// Of which kind.
        kind: &'static Kind,
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
    #[error("cannot write the {} {}: {source}; nothing was changed, so make room or name another file", kind.what, path.display())]
    Write {
        /// Of which kind.
        kind: &'static Kind,
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// Neither a name nor a file of a card.
    #[error(
        "\"{named}\" is no name for a {}; write a plain name such as \"{}\", or a file that ends in .toml",
        kind.what, kind.example
    )]
    NoName {
        /// Of which kind.
        kind: &'static Kind,
        /// As the user named it.
        named: String,
    },
    /// The system names no folder for data.
    #[error(
        "this system names no folder for data; name one with --data, or give the card as a file that ends in .toml"
    )]
    NoFolder,
}

/// The file that a card's name, or a path to it, means. What ends in `.toml` is
/// a path, anything else a name: with a letter or digit and no folder in it.
pub fn file_of<C: Card>(places: &Places, named: &str) -> Result<PathBuf, CardError> {
    let path = Path::new(named);
    let is_toml = |it: &OsStr| it.eq_ignore_ascii_case("toml");
    if path.extension().is_some_and(is_toml) {
        return Ok(path.to_owned());
    }
    let in_folder = named.contains(['/', '\\']) || named.starts_with('.');
    if in_folder || !named.contains(char::is_alphanumeric) {
        return Err(CardError::NoName {
            kind: &C::KIND,
            named: named.to_owned(),
        });
    }
    let folder = places.cards(C::KIND.folder).ok_or(CardError::NoFolder)?;
    Ok(folder.join(format!("{}.toml", plain_name(named))))
}

/// A name that every file system takes.
pub(super) fn plain_name(name: &str) -> String {
    let letter = |it: char| if it.is_alphanumeric() { it } else { '-' };
    name.trim().to_lowercase().chars().map(letter).collect()
}

/// Reads the card of a name or path: the user's own before those that come with
/// the program.
pub fn read<C: Card>(places: &Places, named: &str) -> Result<C, CardError> {
    let path = file_of::<C>(places, named)?;
    if path.exists() {
        return read_file(&path);
    }
    let is_named = |card: &&C| plain_name(card.name()) == plain_name(named);
    if let Some(card) = C::built_in().iter().find(is_named) {
        return Ok(card.clone());
    }
    Err(CardError::Missing {
        kind: &C::KIND,
        named: named.to_owned(),
        there_are: there_are::<C>(places),
        path,
    })
}

fn read_file<C: Card>(path: &Path) -> Result<C, CardError> {
    let cannot = |source| CardError::Read {
        kind: &C::KIND,
        path: path.to_owned(),
        source,
    };
    let text = whole::read_text(path).map_err(cannot)?;
    C::of_toml(&text).map_err(|source| CardError::Unusable {
        kind: &C::KIND,
        path: path.to_owned(),
        source,
    })
}

/// All of the user's cards by name, usable or not.
pub fn list<C: Card>(places: &Places) -> Vec<(PathBuf, Result<C, CardError>)> {
    let folder = places.cards(C::KIND.folder);
    let entries = folder.and_then(|folder| fs::read_dir(folder).ok());
    let mut paths: Vec<PathBuf> = entries
        .into_iter()
        .flatten()
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|it| it == "toml"))
        .filter(|path| !whole::is_switched_off(path))
        .collect();
    paths.sort();
    let card = |path: PathBuf| {
        let card = read_file(&path);
        (path, card)
    };
    paths.into_iter().map(card).collect()
}

/// The user's own card of a machine, usable or not: by the name of its file or
/// by what it says.
pub fn of_machine(
    places: &Places,
    machine: &str,
) -> Option<(PathBuf, Result<PartsCard, CardError>)> {
    let own = list::<PartsCard>(places).into_iter();
    let is_its = |(path, card): &(PathBuf, Result<PartsCard, CardError>)| {
        let file = path.file_stem().and_then(|it| it.to_str());
        let said = card.as_ref().ok().map(|card| card.name.as_str());
        [file, said]
            .iter()
            .any(|it| same_machine(*it, Some(machine)))
    };
    own.into_iter().find(is_its)
}

fn there_are<C: Card>(places: &Places) -> String {
    let own = list::<C>(places).into_iter();
    let mut names: Vec<String> = own
        .filter_map(|(_, card)| Some(card.ok()?.name().to_owned()))
        .collect();
    names.extend(C::built_in().iter().map(|it| it.name().to_owned()));
    if names.is_empty() {
        format!("{} makes one", C::KIND.maker)
    } else {
        format!("there are: {}", names.join(", "))
    }
}

/// Writes a card, whole or not at all. One that is there is replaced only where
/// `replace` says so.
pub fn write<C: Card>(path: &Path, card: &C, replace: bool) -> Result<(), CardError> {
    let cannot = |source| CardError::Write {
        kind: &C::KIND,
        path: path.to_owned(),
        source,
    };
    let text = card
        .toml()
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
        assert_eq!(read_file::<TapeCard>(&path).unwrap(), card(0.1));
        write(&path, &card(0.2), true).unwrap();
        assert_eq!(read_file::<TapeCard>(&path).unwrap(), card(0.2));
        assert_eq!(fs::read_dir(path.parent().unwrap()).unwrap().count(), 1);
    }

    #[test]
    fn a_name_lies_in_the_usual_folder_and_a_path_where_it_says() {
        assert_eq!(
            file_of::<TapeCard>(&Places::default(), "x/a.toml").unwrap(),
            Path::new("x/a.toml")
        );
        assert_eq!(
            file_of::<TapeCard>(&Places::default(), "a.toml").unwrap(),
            Path::new("a.toml")
        );
        for odd in ["a/b", "../evil", "x/", "a\\b", "..", "", " ", ".toml"] {
            assert!(
                matches!(
                    file_of::<TapeCard>(&Places::default(), odd),
                    Err(CardError::NoName { .. })
                ),
                "{odd}"
            );
        }
        if let Ok(path) = file_of::<TapeCard>(&Places::default(), "Tone Tape 3") {
            assert!(path.ends_with("tapes/tone-tape-3.toml"), "{path:?}");
        }
    }

    #[test]
    fn a_card_of_ones_own_goes_before_one_that_comes_with_the_program() {
        let folder = tempfile::tempdir().unwrap();
        let places = Places::in_folder(folder.path().to_owned());
        let named = "Portable cassette";
        let built_in: PartsCard = read(&places, named).unwrap();
        assert!(built_in.generic);
        let path = file_of::<PartsCard>(&places, named).unwrap();
        write(&path, &PartsCard::new(named), false).unwrap();
        let own: PartsCard = read(&places, named).unwrap();
        assert!(!own.generic && own.parts.is_empty());
        let missing = read::<PartsCard>(&places, "deck 99").unwrap_err();
        let said = missing.to_string();
        assert!(
            said.contains("parts card") && said.contains("microcassette"),
            "{said}"
        );
    }
}
