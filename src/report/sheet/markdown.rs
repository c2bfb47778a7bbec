//! The sheet as Markdown (`CommonMark`, with tables as most readers have them).

use std::fmt::Write as _;

use super::html::SIMULATED;
use super::{Block, Section, Sheet, layout};
use crate::report::pictures::Picture;

/// How every one begins.
pub const BEGINS: &str = "<!-- tapewright job sheet -->\n";

/// The text, with its last line's end. Where its pictures lie as files, `folder`
/// leads to them.
pub fn markdown(sheet: &Sheet<'_>, picture_at: Option<&dyn Fn(&Picture) -> String>) -> String {
    let mut text = format!("{BEGINS}\n# {}\n\n", escaped(&layout::title(sheet)));
    if sheet.job.simulated {
        let _ = writeln!(text, "**{SIMULATED}**\n");
    }
    if let Some(workshop) = layout::workshop(sheet) {
        let _ = writeln!(text, "{}\n", escaped(&workshop));
    }
    facts(&mut text, &layout::head(sheet));
    for section in layout::sections(sheet) {
        add(&mut text, &section, picture_at);
    }
    let _ = writeln!(text, "{}", escaped(&layout::foot(sheet)));
    text
}

fn add(text: &mut String, section: &Section, picture_at: Option<&dyn Fn(&Picture) -> String>) {
    let _ = writeln!(text, "## {}\n", escaped(&section.title));
    for block in &section.blocks {
        match block {
            Block::Facts(all) | Block::Lead(all) => facts(text, all),
            Block::Points(all) => {
                for one in all {
                    let _ = writeln!(text, "- {}", escaped(one));
                }
                text.push('\n');
            }
            Block::Table(head, rows) => {
                row(text, head);
                let _ = writeln!(text, "|{}", " --- |".repeat(head.len()));
                for cells in rows {
                    row(text, cells);
                }
                text.push('\n');
            }
            Block::Pictures(all) => {
                for picture in all {
                    let title = escaped(&picture.title);
                    let _ = match picture_at {
                        Some(at) => writeln!(text, "![{title}]({})\n", at(picture)),
                        None => writeln!(text, "{title}: {}.\n", escaped(&picture.says)),
                    };
                }
            }
        }
    }
}

fn facts(text: &mut String, all: &[[String; 2]]) {
    for [what, is] in all {
        let _ = writeln!(text, "- **{}**: {}", escaped(what), escaped(is));
    }
    text.push('\n');
}

fn row(text: &mut String, cells: &[String]) {
    let cells: Vec<String> = cells.iter().map(|it| escaped(it)).collect();
    let _ = writeln!(text, "| {} |", cells.join(" | "));
}

/// What means something in Markdown, or in the HTML that it may hold, means
/// itself.
fn escaped(words: &str) -> String {
    let mut text = String::with_capacity(words.len());
    // What begins a list or underlines a head; a figure does neither.
    let begins = words.starts_with(['-', '+', '='])
        && !words[1..].starts_with(|it: char| it.is_ascii_digit());
    if begins {
        text.push('\\');
    }
    for letter in words.chars() {
        match letter {
            '<' => text.push_str("&lt;"),
            '>' => text.push_str("&gt;"),
            '&' => text.push_str("&amp;"),
            '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '~' | '#' | '!' | '$' => {
                text.extend(['\\', letter]);
            }
            letter => text.push(letter),
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_typed_means_anything() {
        let typed = "- [a](javascript:b) <img src=x onerror=c> `d` |";
        let expected = "\\- \\[a\\](javascript:b) &lt;img src=x onerror=c&gt; \\`d\\` \\|";
        assert_eq!(escaped(typed), expected);
        assert_eq!(escaped("-1.2 %"), "-1.2 %");
    }
}
