//! How things are drawn: Unicode or plain characters, colours or none, and
//! the few styles that the panels share.
//!
//! Nothing is ever said by colour alone: every style that carries colour also
//! carries bold, reverse or dim, or stands beside a word.

use ratatui_core::buffer::Buffer;
use ratatui_core::style::{Color, Modifier, Style};

/// What the terminal can show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Characters beyond ASCII may be used.
    pub unicode: bool,
    /// Colours may be used.
    pub colour: bool,
}

impl Look {
    /// From what the user said and what the environment says.
    ///
    /// Plain characters when `ascii` is set, when the locale is not UTF-8, or
    /// on the Linux console, whose fonts lack most of what is drawn here.
    /// Colours as they were asked for (`Some`), else none when `NO_COLOR` is set and
    /// not empty (no-color.org), or `CLICOLOR` is 0 and `CLICOLOR_FORCE` not set
    /// or 0 (bixense.com/clicolors), or the terminal is a dumb one.
    pub fn new(
        ascii: bool,
        colour: Option<bool>,
        variable: impl Fn(&str) -> Option<String>,
    ) -> Self {
        let said = |name: &str| variable(name).filter(|value| !value.is_empty());
        let locale = ["LC_ALL", "LC_CTYPE", "LANG"]
            .into_iter()
            .find_map(said)
            .unwrap_or_default()
            .to_ascii_lowercase();
        let utf8 = locale.contains("utf-8") || locale.contains("utf8");
        let console = said("TERM").is_some_and(|term| term == "linux");
        Self {
            unicode: !ascii && utf8 && !console,
            colour: colour.unwrap_or_else(|| has_colours(said)),
        }
    }

    /// The sign in front of an uncertainty.
    pub fn plus_minus(self) -> &'static str {
        if self.unicode { "±" } else { "+-" }
    }

    /// From this to that.
    pub fn arrow(self) -> &'static str {
        if self.unicode { "→" } else { "->" }
    }

    /// Text that matters.
    pub fn strong(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// Text of second rank.
    pub fn faint(self) -> Style {
        Style::new().add_modifier(Modifier::DIM)
    }

    /// The needle and whatever else moves.
    pub fn accent(self) -> Style {
        self.tinted(self.strong(), Color::Cyan)
    }

    /// A trouble; always beside a word that says so.
    pub fn alarm(self) -> Style {
        self.tinted(self.strong(), Color::Yellow)
    }

    /// A label that must not be overlooked.
    pub fn badge(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD | Modifier::REVERSED)
    }

    /// crossterm turns every colour into an empty sequence under `NO_COLOR`,
    /// and that wipes bold and reverse too; so no colour is asked for then.
    fn tinted(self, style: Style, colour: Color) -> Style {
        if self.colour { style.fg(colour) } else { style }
    }

    /// Replaces what a plain terminal cannot show, cell by cell. Done last,
    /// so that no panel can forget it.
    pub fn make_plain(self, buffer: &mut Buffer) {
        if self.unicode {
            return;
        }
        for cell in &mut buffer.content {
            if !cell.symbol().is_ascii() {
                let plain = plain_symbol(cell.symbol());
                cell.set_symbol(plain);
            }
        }
    }
}

/// The nearest plain character of the same width; names may hold anything, and
/// what is not known becomes a question mark.
fn plain_symbol(symbol: &str) -> &'static str {
    match symbol {
        "█" => "#",
        "▲" | "↑" => "^",
        "◆" => "o",
        "◀" | "←" => "<",
        "▶" | "→" => ">",
        "│" | "▌" | "▐" => "|",
        "╎" => ":",
        "┼" => "+",
        "─" => "-",
        "═" => "=",
        "·" => ".",
        "✓" => "*",
        "↓" => "v",
        "±" => "~",
        "µ" => "u",
        _ => "?",
    }
}

/// What the environment says of colours; whoever asks has a terminal.
fn has_colours(said: impl Fn(&str) -> Option<String>) -> bool {
    let is = |name: &str, value: &str| said(name).is_some_and(|it| it == value);
    let forced = said("CLICOLOR_FORCE").is_some_and(|it| it != "0");
    said("NO_COLOR").is_none() && (forced || !(is("CLICOLOR", "0") || is("TERM", "dumb")))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(ascii: bool, variables: &[(&str, &str)]) -> Look {
        asked(ascii, None, variables)
    }

    fn asked(ascii: bool, colour: Option<bool>, variables: &[(&str, &str)]) -> Look {
        Look::new(ascii, colour, |name| {
            variables
                .iter()
                .find(|(known, _)| *known == name)
                .map(|(_, value)| (*value).to_owned())
        })
    }

    #[test]
    fn unicode_needs_a_terminal_and_a_locale_that_have_it() {
        let utf8 = ("LANG", "en_GB.UTF-8");
        assert!(look(false, &[utf8, ("TERM", "xterm")]).unicode);
        assert!(look(false, &[("LC_ALL", "C.utf8"), ("LANG", "C")]).unicode);
        assert!(!look(true, &[utf8]).unicode);
        assert!(!look(false, &[utf8, ("TERM", "linux")]).unicode);
        assert!(!look(false, &[("LC_ALL", "POSIX"), utf8]).unicode);
        assert!(!look(false, &[]).unicode);
    }

    #[test]
    fn no_color_leaves_colours_out_but_keeps_the_weight() {
        let none = look(false, &[("NO_COLOR", "1")]);
        for style in [none.accent(), none.alarm(), none.badge(), none.strong()] {
            assert_eq!((style.fg, style.bg), (None, None));
            assert!(style.add_modifier.contains(Modifier::BOLD));
        }
        let empty = look(false, &[("NO_COLOR", "")]);
        assert!(empty.accent().fg.is_some());
    }

    #[test]
    fn what_is_asked_counts_more_than_the_environment() {
        let none = ("NO_COLOR", "1");
        let (off, forced) = (("CLICOLOR", "0"), ("CLICOLOR_FORCE", "1"));
        for (asked_for, variables, expected) in [
            (None, &[][..], true),
            (None, &[off], false),
            (None, &[off, forced], true),
            (None, &[none, forced], false),
            (None, &[("TERM", "dumb")], false),
            (None, &[off, ("CLICOLOR_FORCE", "0")], false),
            (Some(true), &[none, off], true),
            (Some(false), &[forced], false),
        ] {
            let look = asked(false, asked_for, variables);
            assert_eq!(look.colour, expected, "{asked_for:?} {variables:?}");
        }
    }
}
