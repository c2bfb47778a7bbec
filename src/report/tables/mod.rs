//! What was measured as plain tables, for spreadsheets and scripts: as CSV or as
//! JSON. Every column has its unit in its name and a sentence of its own
//! (`columns.rs`). Figures are those of `read --json`, digit for digit.

mod columns;
mod rows;
mod wiper;

use serde::{Serialize, Serializer};
use serde_json::Value;

pub use columns::{of_file, of_job};

use super::numbers::plain;

/// Value of the key `schema` of tables as JSON.
pub const SCHEMA: &str = "tapewright.tables/1";

/// A table.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Table {
    /// What it is called; also in the name of its file.
    pub name: &'static str,
    /// What a row of it is.
    #[serde(rename = "about")]
    pub row: &'static str,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows, each as wide as there are columns.
    pub rows: Vec<Vec<Cell>>,
}

/// A column of a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Column {
    /// Its name, with its unit.
    pub name: &'static str,
    /// What stands in it.
    pub about: &'static str,
}

/// What stands in a row of a column.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Words.
    Text(String),
    /// A figure, rounded as it is for scripts.
    Number(f64),
    /// It is not known, or nobody said.
    None,
}

impl Cell {
    fn text(text: Option<impl Into<String>>) -> Self {
        text.map_or(Self::None, |it| Self::Text(it.into()))
    }

    fn number(number: Option<f64>) -> Self {
        number.map_or(Self::None, Self::Number)
    }

    fn yes(is: bool) -> Self {
        Self::Text(if is { "yes" } else { "no" }.to_owned())
    }

    fn of(value: &Value) -> Self {
        match value {
            Value::String(text) => Self::Text(text.clone()),
            Value::Bool(is) => Self::yes(*is),
            other => Self::number(other.as_f64()),
        }
    }

    /// As it stands between the commas, before they are guarded by quotes.
    fn csv(&self) -> String {
        match self {
            Self::Text(text) => harmless(text),
            Self::Number(number) => number.to_string(),
            Self::None => String::new(),
        }
    }
}

impl Serialize for Cell {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Text(text) => to.serialize_str(text),
            Self::Number(number) => to.serialize_f64(*number),
            Self::None => to.serialize_none(),
        }
    }
}

/// A text that no spreadsheet takes for a formula and no terminal for a command.
/// Its lines stay lines.
fn harmless(text: &str) -> String {
    let lines: Vec<String> = text.split('\n').map(plain).collect();
    let text = lines.join("\n");
    // Some programs pass over blanks first, and some take the wide signs as well.
    let begins = text.trim_start().chars().next();
    let is_formula =
        |it: char| matches!(it, '=' | '+' | '-' | '@' | '＝' | '＋' | '－' | '＠' | '−');
    if begins.is_some_and(is_formula) {
        format!("'{text}")
    } else {
        text
    }
}

impl Table {
    /// As comma-separated values (RFC 4180): a row of names first, each row
    /// ended by CR and LF, full stops in figures, nothing where it is not known.
    #[allow(clippy::missing_panics_doc)] // it cannot, as the reasons given say
    pub fn csv(&self) -> String {
        let mut writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(Vec::new());
        let mut write = |row: &mut dyn Iterator<Item = String>| {
            let written = writer.write_record(row);
            written.expect("memory takes it, and all rows are of one width");
        };
        write(&mut self.columns.iter().map(|it| it.name.to_owned()));
        for row in &self.rows {
            write(&mut row.iter().map(Cell::csv));
        }
        let bytes = writer.into_inner().expect("memory takes it");
        String::from_utf8(bytes).expect("texts were written")
    }
}

/// Tables as one object of JSON, on lines of its own, without the last line's
/// end.
#[allow(clippy::missing_panics_doc)] // it cannot, as the reason given says
pub fn json(tables: &[Table]) -> String {
    #[derive(Serialize)]
    struct Tables<'a> {
        schema: &'static str,
        tables: &'a [Table],
    }
    let all = Tables {
        schema: SCHEMA,
        tables,
    };
    serde_json::to_string(&all).expect("texts and figures always become JSON")
}

/// Every table and column that there is, as a table: what stands where.
pub fn columns() -> Table {
    let text = |it: &'static str| Cell::Text(it.to_owned());
    let rows = of_job(&crate::records::Job::default())
        .into_iter()
        .flat_map(|table| {
            let cells = table.columns.into_iter();
            cells.map(move |it| vec![text(table.name), text(it.name), text(it.about)])
        });
    Table {
        name: "columns",
        row: "a column of a table",
        columns: vec![
            Column {
                name: "table",
                about: "table that it is in",
            },
            Column {
                name: "column",
                about: "its name, with its unit",
            },
            Column {
                name: "about",
                about: "what stands in it",
            },
        ],
        rows: rows.collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(cells: Vec<Cell>) -> Table {
        let column = Column {
            name: "any",
            about: "anything",
        };
        Table {
            name: "test",
            row: "a row",
            columns: vec![column; cells.len()],
            rows: vec![cells],
        }
    }

    /// RFC 4180, section 2: lines end with CR LF; what holds a comma, a quote or
    /// a line's end stands in quotes, and a quote in it is doubled.
    #[test]
    fn cells_are_guarded_as_the_standard_says() {
        let text = |text: &str| Cell::Text(text.to_owned());
        let cells = vec![
            text("a,b"),
            text("say \"so\""),
            text("two\nlines"),
            Cell::Number(-1.25),
            Cell::None,
            text("größer"),
        ];
        let expected = "any,any,any,any,any,any\r\n\
                        \"a,b\",\"say \"\"so\"\"\",\"two\nlines\",-1.25,,größer\r\n";
        assert_eq!(table(cells).csv(), expected);
    }

    #[test]
    fn no_text_begins_a_formula_and_no_figure_is_touched() {
        for (text, written) in [
            ("=cmd()", "'=cmd()"),
            ("+1", "'+1"),
            ("-10 °C in here", "'-10 °C in here"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("  =1", "'  =1"),
            ("\t=1", "\\u0009=1"),
            ("\r=1", "\\u000d=1"),
            ("\n=1", "'\n=1"),
            ("＝1", "'＝1"),
            ("deck -4", "deck -4"),
            ("\u{1b}[2J", "\\u001b[2J"),
            ("", ""),
        ] {
            assert_eq!(harmless(text), written, "{text:?}");
        }
        assert_eq!(Cell::Number(-0.5).csv(), "-0.5");
    }

    #[test]
    fn json_says_the_same_as_it_is() {
        let cells = vec![Cell::Text("=1\u{1b}".to_owned()), Cell::None];
        let written = json(&[table(cells)]);
        let read: Value = serde_json::from_str(&written).expect("JSON");
        assert_eq!(read["schema"], SCHEMA);
        assert_eq!(read["tables"][0]["rows"][0][0], "=1\u{1b}");
        assert_eq!(read["tables"][0]["rows"][0][1], Value::Null);
        assert_eq!(read["tables"][0]["columns"][0]["name"], "any");
    }

    /// The names stand in scripts, so that they end as units do.
    #[test]
    fn every_column_has_a_name_of_its_own_and_a_sentence() {
        for table in of_job(&crate::records::Job::default()) {
            for (nth, column) in table.columns.iter().enumerate() {
                let name = column.name;
                let is_plain = |it: char| it.is_ascii_lowercase() || it == '_';
                assert!(name.chars().all(is_plain), "{name}");
                assert!(!column.about.is_empty(), "{name}");
                let earlier = &table.columns[..nth];
                assert!(earlier.iter().all(|it| it.name != name), "{name}");
            }
        }
    }
}
