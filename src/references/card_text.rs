//! What all cards have in common as text: TOML with the version of its kind
//! first, faults told with their line.

use serde::de::DeserializeOwned;

/// Longest name in letters.
const LONGEST_NAME: usize = 60;

/// Why a card cannot be used.
#[derive(Debug, thiserror::Error, PartialEq)]
#[allow(missing_docs)] // Each sentence says what it is.
pub enum CardTextError {
    #[error("line {line}: {reason}")]
    Unreadable { line: usize, reason: String },
    #[error("it was written by a newer version of the program (card {0}); use that version")]
    Newer(u32),
    #[error("{key} is {found}; {wanted}")]
    Impossible {
        key: String,
        found: String,
        wanted: String,
    },
}

impl CardTextError {
    /// A value that cannot be.
    pub fn impossible(
        key: impl Into<String>,
        found: impl Into<String>,
        wanted: impl Into<String>,
    ) -> Self {
        Self::Impossible {
            key: key.into(),
            found: found.into(),
            wanted: wanted.into(),
        }
    }
}

/// Reads a card whose key `head` has its version, of which `version` is the
/// newest that is known.
pub(super) fn read<T: DeserializeOwned>(
    text: &str,
    head: &str,
    version: u32,
) -> Result<T, CardTextError> {
    let unreadable = |error: toml::de::Error| {
        let before = error.span().map_or(0, |span| span.start.min(text.len()));
        let line = text.as_bytes()[..before].iter().filter(|it| **it == b'\n');
        let reason = error.message().lines().next().unwrap_or_default();
        CardTextError::Unreadable {
            line: line.count() + 1,
            reason: reason.to_owned(),
        }
    };
    let all: toml::Table = toml::from_str(text).map_err(unreadable)?;
    let of_this = all.get(head).and_then(toml::Value::as_integer);
    match of_this.map(u32::try_from) {
        Some(Ok(newer)) if newer > version => Err(CardTextError::Newer(newer)),
        Some(Ok(_)) => toml::from_str(text).map_err(unreadable),
        _ => Err(CardTextError::Unreadable {
            line: 1,
            reason: format!("`{head} = {version}` does not stand in it"),
        }),
    }
}

/// A name that can stand on a screen; `key` is what it is the name of.
pub(super) fn checked_name(key: &str, name: &str) -> Result<(), CardTextError> {
    let letters = name.trim().chars().count();
    if letters == 0 || letters > LONGEST_NAME || name.chars().any(char::is_control) {
        let found = format!("\"{name}\"");
        return Err(CardTextError::impossible(key, found, "1 to 60 letters"));
    }
    Ok(())
}

/// A value between two bounds.
pub(super) fn checked_between(
    key: &str,
    value: f64,
    [low, high]: [f64; 2],
) -> Result<(), CardTextError> {
    if (low..=high).contains(&value) {
        return Ok(());
    }
    let wanted = format!("it must lie between {low} and {high}");
    Err(CardTextError::impossible(key, value.to_string(), wanted))
}
