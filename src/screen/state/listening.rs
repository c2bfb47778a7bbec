//! The copy beside the tape, as the screen knows it: whether it sounds, and
//! where the tape is.

use super::ScreenState;
use super::view::View;
use crate::units::Seconds;

const GONE: &str = "the output of the copy is gone; the reading goes on";
const BACK: &str = "the output of the copy is back";

/// How it stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Listening {
    /// By key.
    pub muted: bool,
    /// The output is gone and waited for.
    pub lost: bool,
    /// The tape's place is known, so that there is something to hear.
    sounds: bool,
}

impl ScreenState {
    /// Where the copy is to sound now, `None` for silence; `lost` is whether
    /// its output is gone. The second is true where the screen has something
    /// else to show.
    pub fn follow_listening(&mut self, lost: bool) -> (Option<Seconds>, bool) {
        let Some(before) = self.listening else {
            return (None, false);
        };
        // In a check the ear is wanted for the machine.
        let hears = self.view == View::Bench && self.is_live();
        let place = self.reading().and_then(|reading| reading.place);
        let now = place.and_then(|place| place.now).filter(|_| hears);
        if lost != before.lost {
            self.message = Some(if lost { GONE } else { BACK }.to_owned());
        }
        let newest = Listening {
            lost,
            sounds: now.is_some(),
            ..before
        };
        self.listening = Some(newest);
        (now.filter(|_| !newest.muted), newest != before)
    }

    pub(in crate::screen) fn mute_listening(&mut self) {
        if let Some(listening) = &mut self.listening {
            listening.muted = !listening.muted;
            let now = if listening.muted { "muted" } else { "on" };
            self.message = Some(format!("copy {now}; x changes that"));
        }
    }

    /// How it stands, for the title; `None` without it.
    pub(in crate::screen) fn words_of_listening(&self) -> Option<&'static str> {
        let listening = self.listening?;
        Some(match listening {
            Listening { lost: true, .. } => "LOST",
            Listening { muted: true, .. } => "muted",
            Listening { sounds: true, .. } => "on",
            Listening { sounds: false, .. } => "on: silent",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{CopyState, PlaceInCopy};
    use crate::screen::{Action, specimen};

    fn listening() -> ScreenState {
        let mut reading = specimen::reading(-1.0);
        reading.place = Some(PlaceInCopy {
            state: CopyState::Following,
            now: Some(Seconds(61.0)),
            length: Seconds(200.0),
            heard: Seconds(20.0),
            repeats: false,
            two_things: false,
        });
        let mut state = specimen::showing(reading);
        state.listening = Some(Listening::default());
        state
    }

    #[test]
    fn it_sounds_at_the_place_of_the_tape_unless_muted() {
        let mut state = listening();
        assert_eq!(state.follow_listening(false), (Some(Seconds(61.0)), true));
        assert_eq!(state.words_of_listening(), Some("on"));
        assert!(!state.follow_listening(false).1);
        let _ = state.act(Action::MuteTicks);
        assert_eq!(state.follow_listening(false).0, None);
        assert_eq!(state.words_of_listening(), Some("muted"));
        let _ = state.act(Action::MuteTicks);
        state.view = View::Contact;
        assert_eq!(state.follow_listening(false).0, None);
        assert_eq!(state.words_of_listening(), Some("on: silent"));
    }

    #[test]
    fn an_output_that_is_lost_is_said_once() {
        let mut state = listening();
        let _ = state.follow_listening(false);
        assert!(state.follow_listening(true).1);
        assert!(state.message.take().unwrap().contains("gone"));
        assert!(!state.follow_listening(true).1);
        assert_eq!(state.words_of_listening(), Some("LOST"));
        assert!(state.follow_listening(false).1);
        assert!(state.message.take().unwrap().contains("back"));
    }
}
