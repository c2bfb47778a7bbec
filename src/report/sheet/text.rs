//! The sheet as plain text of 80 columns.

use std::iter;

use super::html::SIMULATED;
use super::{Block, Section, Sheet, layout};
use crate::report::words::{COLUMNS, cut, lines_of, padded, width, wrapped};

/// How every one begins.
pub const BEGINS: &str = "Job sheet made by tapewright\n";

/// Where the second of two columns begins.
const WHAT: usize = 18;

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
        text.push_str(&wrapped_hard(&padded(&format!("  {head}"), WHAT), is));
    }
}

fn table(text: &mut String, head: &[String], rows: &[Vec<String>]) {
    let count = head.len();
    let widest = |column: usize| {
        let cells = iter::once(&head[column]).chain(rows.iter().map(|it| &it[column]));
        cells.map(|it| width(it)).max().unwrap_or(0)
    };
    let mut widths: Vec<usize> = (0..count).map(widest).collect();
    // The widest gives way until all fit, with a blank before each.
    while widths.iter().sum::<usize>() + count + 1 > COLUMNS {
        if let Some(widest) = widths.iter_mut().max() {
            *widest -= 1;
        }
    }
    let mut line = |cells: &[String]| {
        // A cell that is too long goes on under itself.
        let cells = cells.iter().zip(&widths);
        let cells: Vec<Vec<String>> = cells.map(|(cell, wide)| pieces(cell, *wide)).collect();
        let height = cells.iter().map(Vec::len).max().unwrap_or(0);
        for nth in 0..height {
            let mut row = String::from(" ");
            for (cell, wide) in cells.iter().zip(&widths) {
                let piece = cell.get(nth).map_or("", String::as_str);
                row.push(' ');
                row.push_str(&padded(piece, *wide));
            }
            text.push_str(row.trim_end());
            text.push('\n');
        }
    };
    line(head);
    for cells in rows {
        line(cells);
    }
}

/// Lines of at most this width; words that are wider are broken.
fn pieces(words: &str, room: usize) -> Vec<String> {
    let mut pieces = Vec::new();
    for line in lines_of(words, room, width) {
        let mut piece = String::new();
        for letter in line.chars() {
            piece.push(letter);
            if width(&piece) > room && piece.chars().count() > 1 {
                piece.pop();
                pieces.push(std::mem::replace(&mut piece, letter.to_string()));
            }
        }
        pieces.push(piece);
    }
    pieces
}

/// As [`wrapped`], with words broken that are wider than a line.
fn wrapped_hard(head: &str, words: &str) -> String {
    let indent = width(head);
    let lines = pieces(words, COLUMNS - indent);
    format!(
        "{head}{}\n",
        lines.join(&format!("\n{}", " ".repeat(indent)))
    )
}
