//! The first trouble in a sentence: likely cause and what to do.

use crate::audio::analysis::SourceState;
use crate::readings::Problem;
use crate::report::numbers::plain;
use crate::screen::references;
use crate::screen::state::routine::Step;
use crate::screen::state::{ScreenState, SourceKind};
use crate::screen::words;

const POWER_OFF: &str = "the power is off: p puts it on";

/// The sentence, and whether it is a trouble at all; `None` where all is well.
pub(super) fn sentence(state: &ScreenState) -> Option<(String, bool)> {
    Some(match &state.live.source {
        SourceState::Opening => (opening(state.kind).to_owned(), false),
        SourceState::Late { .. } => (late(state.kind).to_owned(), true),
        SourceState::Lost { reason, .. } => (
            format!(
                "INPUT LOST: {}; the figures are the last ones",
                plain(reason.trim_end_matches('.'))
            ),
            true,
        ),
        SourceState::Ended { .. } => (ended(state), false),
        SourceState::Failed { reason } => (format!("STOPPED: {}", plain(reason)), true),
        // At that step it is what there is to do.
        SourceState::Running { .. } if state.is_switched_off() => {
            let cleans = state.routine.at() == Step::Clean;
            return (!cleans).then(|| (POWER_OFF.to_owned(), false));
        }
        SourceState::Running { .. } => return first_problem(state),
    })
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

fn late(kind: SourceKind) -> &'static str {
    match kind {
        SourceKind::Recording => {
            "LATE: nothing more comes out of the recording yet; the figures are the last ones"
        }
        SourceKind::Input | SourceKind::Rehearsal => {
            "LATE: nothing new just now; the figures are the last ones; if it stays so, close other \
             programs"
        }
    }
}

fn first_problem(state: &ScreenState) -> Option<(String, bool)> {
    let Some(reading) = state.reading() else {
        return Some(("listening".to_owned(), false));
    };
    let kind = state.conditions.kind;
    Some(
        match (state.problems().next(), references::sentence(reading)) {
            (Some(problem), Some(said)) if references::is_said_elsewhere(problem, reading) => said,
            (Some(problem), _) => (
                words::problem(problem, reading, state.nominal(), kind),
                true,
            ),
            (None, Some(said)) => said,
            (None, None) if state.is_starting() => ("sound begins: listening".to_owned(), false),
            (None, None) => return None,
        },
    )
}

/// The sentence where nothing can be done before it is heeded: no speed, no
/// tone chosen, nothing that comes in.
pub(super) fn stops_work(state: &ScreenState) -> Option<(String, bool)> {
    if is_silence_wanted(state) {
        return None;
    }
    let opening = matches!(state.live.source, SourceState::Opening);
    let has_ended = !state.is_live() && !opening;
    let has_no_speed = state.reading().is_some_and(|it| it.speed.is_none());
    let is_off = state.is_switched_off();
    sentence(state).filter(|(_, trouble)| {
        has_ended || is_off || *trouble && (has_no_speed || state.is_tone_open())
    })
}

/// Power off for cleaning, winding to another place: nothing is heard then.
pub(super) fn is_silence_wanted(state: &ScreenState) -> bool {
    let is_silent = matches!(
        state.problems().next(),
        Some(Problem::NoSignal | Problem::NoTone | Problem::ToneLost)
    );
    state.is_live() && is_silent && matches!(state.routine.at(), Step::Clean | Step::Along)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{Caution, CautionCode, Progress};
    use crate::screen::specimen;
    use crate::units::Seconds;

    /// What stands in the row in silence, with the marks that were counted.
    fn in_silence(found: u64, refused: Option<&str>) -> (String, bool) {
        let mut reading = specimen::silence();
        reading.timed = Some(Progress::Marks {
            found,
            spacing: Seconds(10.0),
            refused: refused.map(|why| Caution::told(CautionCode::ReferenceNotFound, why)),
        });
        sentence(&specimen::showing(reading)).expect("said")
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
        assert!(sentence(&specimen::showing(specimen::silence())).is_some_and(|it| it.1));
    }
}
