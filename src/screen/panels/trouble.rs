//! The first trouble in a sentence: likely cause and what to do.

use ratatui::style::Style;

use crate::audio::analysis::SourceState;
use crate::readings::{Problem, ReferenceKind};
use crate::screen::pen::{Pen, harmless, wrap};
use crate::screen::references;
use crate::screen::state::{ScreenState, SourceKind};
use crate::screen::words;

/// Said where there is no trouble.
const GOOD: &str = "signal good";

/// The sentence, and whether it is a trouble at all.
fn sentence(state: &ScreenState) -> (String, bool) {
    match &state.live.source {
        SourceState::Opening => (opening(state.kind).to_owned(), false),
        SourceState::Lost { reason, .. } => (
            format!(
                "INPUT LOST: {}; the figures are the last ones",
                harmless(reason.trim_end_matches('.'))
            ),
            true,
        ),
        SourceState::Ended { .. } => (
            "the recording has ended; the figures are those at its end".to_owned(),
            false,
        ),
        SourceState::Failed { reason } => (format!("STOPPED: {}", harmless(reason)), true),
        SourceState::Running { .. } if state.is_switched_off() => (
            "the power of the simulated machine is off".to_owned(),
            false,
        ),
        SourceState::Running { .. } => first_problem(state),
    }
}

fn opening(kind: SourceKind) -> &'static str {
    match kind {
        SourceKind::Input => "opening the sound input",
        SourceKind::Recording => "opening the recording",
        SourceKind::Rehearsal => "starting the simulated machine",
    }
}

fn first_problem(state: &ScreenState) -> (String, bool) {
    let Some(reading) = state.reading() else {
        return ("listening".to_owned(), false);
    };
    let kind = state.conditions.kind;
    match (state.problems().next(), references::sentence(reading)) {
        (Some(problem), Some(said)) if references::is_said_elsewhere(problem, reading) => said,
        (Some(Problem::NoTone), _) if kind == ReferenceKind::Note => {
            (words::NO_NOTE.to_owned(), true)
        }
        (Some(problem), _) => (
            words::problem(problem, reading, state.nominal(), kind),
            true,
        ),
        (None, Some(said)) => said,
        (None, None) => (GOOD.to_owned(), false),
    }
}

fn lines(state: &ScreenState, width: u16) -> (Vec<String>, bool) {
    let (text, trouble) = sentence(state);
    (wrap(&text, width.saturating_sub(2)), trouble)
}

/// Rows that the sentence needs; that all is well needs none.
pub(in crate::screen) fn rows(state: &ScreenState, width: u16) -> u16 {
    match lines(state, width) {
        (lines, false) if lines == [GOOD] => 0,
        (lines, _) => lines.len() as u16,
    }
}

pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let (lines, trouble) = lines(state, pen.width());
    let look = state.look;
    let style: Style = if trouble { look.alarm() } else { look.faint() };
    if trouble {
        pen.text(0, 0, "!", look.badge());
    }
    let room = pen.height();
    for (y, line) in (0..room).zip(&lines) {
        pen.text(2, y, line, style);
    }
    if lines.len() > usize::from(room) {
        // It goes on where there is no room for it: so much is shown.
        pen.right(room.saturating_sub(1), " ...", style);
    }
}
