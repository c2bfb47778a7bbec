//! The file of settings: TOML, a key a line, read and never written.

use std::io;
use std::path::Path;

use directories::BaseDirs;
use toml::de::{DeTable, DeValue};

use super::Fault;
use crate::records::whole;

/// A key and what stands behind it.
pub(super) struct Line {
    /// From 1.
    pub(super) number: usize,
    pub(super) key: String,
    /// As it would be typed; `None` for what never is.
    pub(super) value: Option<String>,
}

/// All that a file says; nothing where it is not there.
pub(super) fn read(path: &Path) -> Vec<Result<Line, Fault>> {
    let text = match whole::read_text(path) {
        Ok(text) => text,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Vec::new(),
        Err(error) => {
            let path = path.display();
            let fault = format!("the settings in {path} cannot be read: {error}");
            return vec![Err(Fault(fault))];
        }
    };
    let line_of = |at: usize| {
        let before = text.get(..at).unwrap_or(&text);
        before.matches('\n').count() + 1
    };
    let table = match DeTable::parse(&text) {
        Ok(table) => table.into_inner(),
        Err(error) => {
            let (path, line) = (
                path.display(),
                line_of(error.span().map_or(0, |it| it.start)),
            );
            let why = error.message().lines().next().unwrap_or_default();
            return vec![Err(Fault(format!("{path}, line {line}: {why}")))];
        }
    };
    let mut lines: Vec<Line> = table
        .iter()
        .map(|(key, value)| Line {
            number: line_of(key.span().start),
            key: key.get_ref().to_string(),
            value: match value.get_ref() {
                DeValue::String(text) => Some(text.to_string()),
                DeValue::Boolean(is_so) => Some(is_so.to_string()),
                DeValue::Integer(number) => Some(number.to_string()),
                DeValue::Float(number) => Some(number.to_string()),
                DeValue::Datetime(_) | DeValue::Array(_) | DeValue::Table(_) => None,
            },
        })
        .collect();
    lines.sort_by_key(|line| line.number);
    lines.into_iter().map(Ok).collect()
}

/// A folder as the file means it, wherever the program is run.
pub(super) fn place_of(text: &str, file: Option<&Path>) -> String {
    let place = match text.strip_prefix("~/") {
        Some(below) => BaseDirs::new().map(|dirs| dirs.home_dir().join(below)),
        None => file.and_then(Path::parent).map(|folder| folder.join(text)),
    };
    place.map_or_else(|| text.to_owned(), |it| it.to_string_lossy().into_owned())
}
