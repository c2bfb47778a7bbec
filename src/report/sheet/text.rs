//! The sheet as plain text of 80 columns.

use std::iter;

use super::html::SIMULATED;
use super::{Block, Section, Sheet, layout};
use crate::report::words::cut;
use crate::report::words::{COLUMNS, lines_of, wrapped};

/// How every one begins.
pub const BEGINS: &str = "Job sheet\n";

/// Where the second of two columns begins.
const WHAT: usize = 18;
/// Widths of the first columns of a table; the last has the rest.
const WIDEST: usize = 26;

/// The text, with its last line's end.
pub fn text(sheet: &Sheet<'_>) -> String {
    let title = layout::title(sheet);
    let mut text = format!("{BEGINS}{}", wrapped_hard("", &title));
    if let Some(workshop) = layout::workshop(sheet) {
        text.push_str(&wrapped_hard("", &workshop));
    }
    if sheet.job.simulated {
        text.push_str(&wrapped("*** ", SIMULATED));
    }
    text.push('\n');
    facts(&mut text, &layout::head(sheet));
    for section in layout::sections(sheet) {
        add(&mut text, &section);
    }
    text.push('\n');
    text.push_str(&wrapped_hard("", &layout::foot(sheet)));
    text
}

fn add(text: &mut String, section: &Section) {
    text.push('\n');
    let title = section.title.to_uppercase();
    text.push_str(&wrapped_hard("", &title));
    for block in &section.blocks {
        match block {
            Block::Facts(all) | Block::Lead(all) => facts(text, all),
            Block::Points(all) => {
                for one in all {
                    text.push_str(&wrapped_hard("  - ", one));
                }
            }
            Block::Table(head, rows) => table(text, head, rows),
            Block::Pictures(all) => {
                for picture in all {
                    let said = format!("{}: {}", picture.title, picture.says);
                    text.push_str(&wrapped_hard("  ", &said));
                }
            }
        }
    }
}

fn facts(text: &mut String, all: &[[String; 2]]) {
    for [what, is] in all {
        let head = cut(what, WHAT - 3);
        text.push_str(&wrapped_hard(&format!("  {head:<0$}", WHAT - 2), is));
    }
}

fn table(text: &mut String, head: &[String], rows: &[Vec<String>]) {
    let count = head.len();
    let width = |column: usize| {
        let cells = iter::once(&head[column]).chain(rows.iter().map(|it| &it[column]));
        let widest = cells.map(|it| it.chars().count()).max().unwrap_or(0);
        widest.min(WIDEST.min((COLUMNS - 4) / count + 4))
    };
    let widths: Vec<usize> = (0..count).map(width).collect();
    let mut line = |cells: &[String]| {
        // A cell that is too long goes on under itself.
        let cells = cells.iter().zip(&widths);
        let cells: Vec<Vec<String>> = cells.map(|(cell, width)| pieces(cell, *width)).collect();
        let height = cells.iter().map(Vec::len).max().unwrap_or(0);
        for nth in 0..height {
            let mut row = String::from(" ");
            for (cell, width) in cells.iter().zip(&widths) {
                let piece = cell.get(nth).map_or("", String::as_str);
                row.push_str(&format!(" {piece:<width$}"));
            }
            text.push_str(row.trim_end());
            text.push('\n');
        }
    };
    line(head);
    rows.iter().for_each(|it| line(it));
}

/// Lines of at most this many letters; words that are longer are broken.
fn pieces(words: &str, room: usize) -> Vec<String> {
    let room = room.max(1);
    let lines = lines_of(words, room, |it| it.chars().count());
    let broken = lines.into_iter().flat_map(|line| {
        let letters: Vec<char> = line.chars().collect();
        let pieces = letters.chunks(room);
        pieces
            .map(|it| it.iter().collect())
            .collect::<Vec<String>>()
    });
    broken.collect()
}

/// As [`wrapped`], with words broken that are longer than a line.
fn wrapped_hard(head: &str, words: &str) -> String {
    let indent = head.chars().count();
    let lines = pieces(words, COLUMNS - indent);
    format!(
        "{head}{}\n",
        lines.join(&format!("\n{}", " ".repeat(indent)))
    )
}
