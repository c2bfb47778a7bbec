//! What holds for the whole program, whatever it does: how much it says, and
//! whether in colours.

use std::sync::OnceLock;

use clap::ColorChoice;
use crossterm::style::force_color_output;

use super::cli::Cli;

struct Habits {
    quiet: bool,
    color: ColorChoice,
}

static HABITS: OnceLock<Habits> = OnceLock::new();

/// As they were said; the first time counts.
pub(super) fn take(cli: &Cli) {
    let (quiet, color) = (cli.quiet, cli.color);
    if color == ColorChoice::Always {
        // It would leave them out under NO_COLOR by itself.
        force_color_output(true);
    }
    let _ = HABITS.set(Habits { quiet, color });
}

/// Nothing but errors goes to standard error.
pub(super) fn is_quiet() -> bool {
    HABITS.get().is_some_and(|it| it.quiet)
}

/// Whether colours were asked for or forbidden.
pub(super) fn colours() -> Option<bool> {
    match HABITS.get().map(|it| it.color)? {
        ColorChoice::Always => Some(true),
        ColorChoice::Never => Some(false),
        ColorChoice::Auto => None,
    }
}
