//! The first trouble in a sentence: likely cause and what to do.

use ratatui_core::style::Style;

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
        SourceState::Ended { .. } => (ended(state), false),
        SourceState::Failed { reason } => (format!("STOPPED: {}", harmless(reason)), true),
        SourceState::Running { .. } if state.is_switched_off() => (
            "the power of the simulated machine is off".to_owned(),
            false,
        ),
        SourceState::Running { .. } => first_problem(state),
    }
}

/// In a row of the narrowest window.
fn ended(state: &ScreenState) -> String {
    match state.heard.age() {
        Some(age) => format!(
            "the recording has ended; last settled {:.0} s before",
            age.0.ceil()
        ),
        None => "the recording has ended; figures of its end".to_owned(),
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
        (None, None) if state.is_starting() => ("sound begins: listening".to_owned(), false),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Progress;
    use crate::screen::specimen;
    use crate::units::Seconds;

    /// What stands in the row in silence, with so many marks counted.
    fn in_silence(found: u64, refused: Option<&str>) -> (String, bool) {
        let mut reading = specimen::silence();
        reading.timed = Some(Progress::Marks {
            found,
            spacing: Seconds(10.0),
            refused: refused.map(str::to_owned),
        });
        sentence(&specimen::showing(reading))
    }

    #[test]
    fn silence_around_marks_raises_no_alarm() {
        for (found, refused) in [(0, None), (0, Some("no marks")), (2, None), (5, None)] {
            let (text, trouble) = in_silence(found, refused);
            assert!(!trouble, "{found}: {text}");
            assert!(text.starts_with("silent: "), "{found}: {text}");
        }
        let (text, trouble) = in_silence(3, Some("they do not fit"));
        assert!(trouble && text.contains("they do not fit"), "{text}");
    }

    #[test]
    fn silence_where_a_tone_belongs_does() {
        assert!(sentence(&specimen::showing(specimen::silence())).1);
    }
}
