//! Text as pages of a manual have it: the language of man(7), no more of it than
//! is needed here.

use std::fmt::Write as _;

use crate::commands::tape::today;

/// The first line of a page: of what, when it was written, and by which version.
pub(super) fn title(name: &str, section: char) -> String {
    let (name, day) = (quoted(name), today());
    let version = env!("CARGO_PKG_VERSION");
    format!(".TH {name} {section} {day} \"tapewright {version}\" \"Tapewright\"\n")
}

/// A line breaks anyhow where there is room between two.
pub(super) fn without_needless_breaks(page: &str) -> String {
    let lines: Vec<&str> = page.lines().collect();
    let is_room = |at: Option<usize>| {
        at.and_then(|at| lines.get(at))
            .is_some_and(|it| it.is_empty() || *it == ".sp")
    };
    let is_needed = |at: usize| {
        lines[at] != ".br" || !(is_room(at.checked_sub(1)) || is_room(at.checked_add(1)))
    };
    let kept = (0..lines.len()).filter(|at| is_needed(*at));
    kept.map(|at| lines[at].to_owned() + "\n").collect()
}

/// Text whose lines are kept, with its own heads as those of sections.
pub(super) fn as_it_stands(text: &str) -> String {
    let mut page = String::new();
    let mut open = false;
    for (nth, part) in text.split("\n\n").filter(|it| !it.is_empty()).enumerate() {
        let (first, rest) = part.split_once('\n').unwrap_or((part, ""));
        let lines = match first.strip_suffix(':') {
            Some(head) if !head.contains(' ') || !rest.is_empty() => {
                close(&mut page, &mut open);
                // Writing to a string cannot fail.
                let _ = writeln!(page, ".SH {}", quoted(&head.to_uppercase()));
                rest
            }
            _ if nth == 0 => {
                page.push_str(".SH NOTES\n");
                part
            }
            _ => part,
        };
        if open {
            page.push('\n');
        } else {
            page.push_str(".nf\n");
            open = true;
        }
        for line in lines.lines() {
            let _ = writeln!(page, "{}", escaped(line));
        }
    }
    close(&mut page, &mut open);
    page
}

fn close(page: &mut String, open: &mut bool) {
    if std::mem::take(open) {
        page.push_str(".fi\n");
    }
}

/// A chapter of the manual, which is written in Markdown.
pub(super) fn chapter(name: &str, about: &str, text: &str) -> String {
    let mut page = title(&format!("tapewright-{name}"), '7');
    // Writing to a string cannot fail.
    let _ = writeln!(
        page,
        ".SH NAME\ntapewright\\-{} \\- {}",
        escaped(name),
        escaped(about)
    );
    // The title is no section of its own; what follows it is.
    let mut before = Line::Head;
    page.push_str(".SH DESCRIPTION\n");
    for line in text.lines().skip(1) {
        before = put(&mut page, line, before);
    }
    if before == Line::Code {
        page.push_str(".fi\n.RE\n");
    }
    page
}

/// What a line of Markdown is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Line {
    Blank,
    Head,
    Text,
    Code,
}

fn put(page: &mut String, line: &str, before: Line) -> Line {
    if line.starts_with("```") {
        let (change, now) = if before == Line::Code {
            (".fi\n.RE\n", Line::Blank)
        } else {
            (".RS 4\n.nf\n", Line::Code)
        };
        page.push_str(change);
        return now;
    }
    if before == Line::Code {
        // Writing to a string cannot fail.
        let _ = writeln!(page, "{}", escaped(line));
        return Line::Code;
    }
    let line = line.trim_start();
    if line.is_empty() {
        // A head begins a paragraph by itself.
        return if before == Line::Head {
            before
        } else {
            Line::Blank
        };
    }
    if line.starts_with('#') {
        let _ = writeln!(page, ".SH {}", quoted(line.trim_start_matches(['#', ' '])));
        return Line::Head;
    }
    let number = line
        .split_once(". ")
        .filter(|(number, _)| !number.is_empty() && number.bytes().all(|it| it.is_ascii_digit()));
    if let Some(rest) = line.strip_prefix("- ") {
        let _ = writeln!(page, ".IP \\(bu 2\n{}", marked(rest));
    } else if let Some((number, rest)) = number {
        let _ = writeln!(page, ".IP {number}. 4\n{}", marked(rest));
    } else {
        if before == Line::Blank {
            page.push_str(".PP\n");
        }
        let _ = writeln!(page, "{}", marked(line));
    }
    Line::Text
}

/// Bold as Markdown has it; what is to be typed is bold too.
fn marked(line: &str) -> String {
    let mut text = String::new();
    for (nth, part) in line.replace("**", "`").split('`').enumerate() {
        if nth % 2 == 1 {
            let _ = write!(text, "\\fB{}\\fR", inner(part));
        } else {
            text.push_str(&inner(part));
        }
    }
    guarded(text)
}

/// A line that says what it says and commands nothing.
fn escaped(line: &str) -> String {
    guarded(inner(line))
}

fn inner(text: &str) -> String {
    text.replace('\\', "\\e").replace('-', "\\-")
}

fn guarded(line: String) -> String {
    if line.starts_with(['.', '\'']) {
        format!("\\&{line}")
    } else {
        line
    }
}

fn quoted(text: &str) -> String {
    format!("\"{}\"", inner(text).replace('"', "\\(dq"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_in_a_text_commands_the_page() {
        let page = chapter(
            "x",
            "about",
            "# X\n\n.so /etc/passwd\n'br\n\\fI **bold** `--it`\n",
        );
        assert!(
            page.contains("\n\\&.so /etc/passwd\n\\&'br\n\\efI \\fBbold\\fR \\fB\\-\\-it\\fR\n"),
            "{page}"
        );
    }

    #[test]
    fn heads_become_sections_and_lines_are_kept() {
        let page =
            as_it_stands("Examples:\n  one\n          two\n\nSome words.\n\nCautions:\n  mains");
        let expected = ".SH \"EXAMPLES\"\n.nf\n  one\n          two\n\nSome words.\n.fi\n.SH \"CAUTIONS\"\n.nf\n  mains\n.fi\n";
        assert_eq!(page, expected);
    }
}
