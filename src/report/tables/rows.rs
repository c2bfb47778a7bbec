//! How a table comes of its columns and its rows.

use jiff::Timestamp;
use serde_json::Value;

use super::{Cell, Column, Table};
use crate::report::numbers::places;
use crate::units::Seconds;

/// Name, what stands there, and how it is read off what the row is of.
pub(super) type Said<T> = (&'static str, &'static str, fn(&T) -> Cell);
/// Stands in every table of figures, for each becomes a file of its own.
pub(super) const SIMULATED: [&str; 2] = [
    "simulated",
    "yes: the machine is simulated, and every figure invented; empty for a file",
];

/// Figures, a line each: name, where it is in the object, what stands there.
pub(super) type Figures = &'static str;

pub(super) fn figures(of: Figures) -> impl Iterator<Item = [&'static str; 3]> {
    of.lines().map(|line| {
        let mut parts = line.split(" | ");
        [(); 3].map(|()| parts.next().unwrap_or_default())
    })
}

/// Makes a table: the columns that are said, then the figures.
pub(super) fn table<T>(
    [name, row]: [&'static str; 2],
    said: &[Said<T>],
    of_object: Figures,
    rows: impl IntoIterator<Item = (T, Value)>,
) -> Table {
    let columns = said.iter().map(|(name, about, _)| (*name, *about));
    let columns = columns.chain(figures(of_object).map(|[name, _, about]| (name, about)));
    let cells = |(of, object): (T, Value)| {
        let said = said.iter().map(|(.., read)| read(&of));
        let found = figures(of_object).map(|[_, at, _]| object.pointer(at));
        said.chain(found.map(|it| it.map_or(Cell::None, Cell::of)))
            .collect()
    };
    Table {
        name,
        row,
        columns: columns
            .map(|(name, about)| Column { name, about })
            .collect(),
        rows: rows.into_iter().map(cells).collect(),
    }
}

/// The same of what no object tells of.
pub(super) fn list<T>(
    names: [&'static str; 2],
    said: &[Said<T>],
    rows: impl IntoIterator<Item = T>,
) -> Table {
    let rows = rows.into_iter().map(|row| (row, Value::Null));
    table(names, said, "", rows)
}

pub(super) fn moment(at: Timestamp) -> Cell {
    Cell::Text(at.strftime("%Y-%m-%d %H:%M:%S").to_string())
}

pub(super) fn middle(from: Seconds, step: Seconds, nth: u32) -> Seconds {
    Seconds(from.0 + step.0 * (f64::from(nth) + 0.5))
}

pub(super) fn time(at: Seconds) -> Cell {
    Cell::number(places(at.0, 3))
}
