//! Ticks on screen: whether they sound, and what they say now.

use super::ScreenState;
use super::view::View;
use crate::readings::ByEar;
use crate::signal::rhythm::Beat;

const GONE: &str = "the output of the ticks is gone; the reading goes on";
const BACK: &str = "the output of the ticks is back";

/// Ticks as the screen knows them.
#[derive(Clone, Debug, Default)]
pub struct TicksShown {
    /// By key.
    pub muted: bool,
    /// The output is gone and waited for.
    pub lost: bool,
    /// What they say, or would say.
    beat: Beat,
    ear: ByEar,
}

impl ScreenState {
    /// What the ticks are to say now; `lost` is whether their output is gone.
    /// The second is true where the screen has something else to show.
    pub fn follow_ticks(&mut self, lost: bool) -> (Beat, bool) {
        let Some(mut ticks) = self.ticks.take() else {
            return (Beat::Quiet, false);
        };
        let beat = self.beat(&mut ticks.ear);
        let changed = !beat.is_like(ticks.beat) || lost != ticks.lost;
        if lost != ticks.lost {
            self.message = Some(if lost { GONE } else { BACK }.to_owned());
        }
        ticks.beat = beat;
        ticks.lost = lost;
        let sounds = if ticks.muted { Beat::Quiet } else { beat };
        self.ticks = Some(ticks);
        (sounds, changed)
    }

    /// Nothing is said of what is not live, of a tone that nobody has chosen
    /// yet, with a tape that was recorded on this machine, or while a check asks
    /// the hand to turn for its own sake: in a check of contacts a tick would
    /// pass for a crackle.
    fn beat(&self, ear: &mut ByEar) -> Beat {
        let is_for_trimming = self.view == View::Bench
            && self.is_live()
            && !self.is_tone_open()
            && !self.is_recorded_here();
        let Some(reading) = self.reading().filter(|_| is_for_trimming) else {
            *ear = ByEar::default();
            return Beat::Quiet;
        };
        ear.beat(reading, self.tolerance.half_width)
    }

    pub(in crate::screen) fn mute_ticks(&mut self) {
        if let Some(ticks) = &mut self.ticks {
            ticks.muted = !ticks.muted;
            let now = if ticks.muted { "muted" } else { "on" };
            self.message = Some(format!("ticks {now}; x changes that"));
        }
    }

    /// How the ticks stand, for the title; `None` without any.
    pub(in crate::screen) fn words_of_ticks(&self) -> Option<&'static str> {
        let ticks = self.ticks.as_ref()?;
        Some(match ticks.beat {
            _ if ticks.lost => "LOST",
            _ if ticks.muted => "muted",
            Beat::Quiet => "on: silent",
            Beat::Slow(_) => "on: slow",
            Beat::Fast(_) => "on: fast",
            Beat::Right => "on: right",
            Beat::Settled => "on: settled",
            Beat::Stop => "on: STOP",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::analysis::{LiveState, SourceState};
    use crate::readings::{Guidance, Reading};
    use crate::screen::state::SourceKind;
    use crate::screen::{Action, specimen};
    use std::sync::Arc;

    fn ticking(reading: Reading) -> ScreenState {
        let mut state = specimen::showing(reading);
        state.ticks = Some(TicksShown::default());
        state
    }

    #[test]
    fn they_say_what_the_screen_says() {
        let said = |reading: Reading| {
            let mut state = ticking(reading);
            let (beat, _) = state.follow_ticks(false);
            (beat, state.words_of_ticks().unwrap())
        };
        assert!(matches!(
            said(specimen::reading(-1.0)),
            (Beat::Slow(_), "on: slow")
        ));
        assert!(matches!(
            said(specimen::reading(1.0)),
            (Beat::Fast(_), "on: fast")
        ));
        assert_eq!(said(specimen::reading(0.1)), (Beat::Settled, "on: settled"));
        assert_eq!(said(specimen::silence()), (Beat::Quiet, "on: silent"));
        let mut past = specimen::reading(-1.0);
        past.guidance = Guidance {
            overshoots: true,
            ..Guidance::default()
        };
        assert_eq!(said(past), (Beat::Stop, "on: STOP"));
    }

    #[test]
    fn nothing_is_said_of_what_is_not_live_nor_in_a_check() {
        let mut state = ticking(specimen::reading(-1.0));
        state.view = View::Contact;
        assert_eq!(state.follow_ticks(false).0, Beat::Quiet);
        state.view = View::Bench;
        assert_ne!(state.follow_ticks(false).0, Beat::Quiet);
        let mut lost = LiveState::clone(&state.live);
        lost.source = SourceState::Lost {
            name: "Line In".to_owned(),
            reason: "unplugged".to_owned(),
        };
        let _ = state.take(Arc::new(lost));
        assert_eq!(state.follow_ticks(false).0, Beat::Quiet);
    }

    #[test]
    fn mute_is_a_key_and_is_shown() {
        let mut state = ticking(specimen::reading(-1.0));
        let _ = state.act(Action::MuteTicks);
        assert_eq!(state.follow_ticks(false).0, Beat::Quiet);
        assert_eq!(state.words_of_ticks(), Some("muted"));
        let _ = state.act(Action::MuteTicks);
        assert_ne!(state.follow_ticks(false).0, Beat::Quiet);
    }

    #[test]
    fn an_output_that_is_lost_is_said_once_and_the_screen_goes_on() {
        let mut state = ticking(specimen::reading(-1.0));
        let _ = state.follow_ticks(false);
        assert!(state.follow_ticks(true).1);
        assert!(state.message.take().unwrap().contains("gone"));
        assert_eq!(state.words_of_ticks(), Some("LOST"));
        assert!(!state.follow_ticks(true).1);
        assert_eq!(state.message, None);
        assert!(state.follow_ticks(false).1);
        assert!(state.message.take().unwrap().contains("back"));
    }

    #[test]
    fn without_ticks_there_is_nothing_to_mute() {
        let mut state = specimen::state(SourceKind::Input);
        assert!(state.act(Action::MuteTicks).is_empty());
        assert_eq!(state.message, None);
        assert_eq!(state.words_of_ticks(), None);
    }
}
