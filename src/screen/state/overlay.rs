//! What lies over the screen: one thing at a time. It is asked first for what
//! a key means, and a key that it does not know does nothing, so that nothing
//! ever happens unseen behind it.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use super::action::Action;
use super::{Effect, Entry, ScreenState};

/// What lies over the screen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Overlay {
    /// A page of the help, from 0.
    Help(usize),
    /// What the ± of the digits is made of.
    Budget,
    /// A page of all about the present step, from 0.
    Card(usize),
    /// A page of all about what wavers, from 0.
    Causes(usize),
    /// The list of references, with the line that is marked.
    References(usize),
    /// The page of the job, with the row that is marked.
    Job(usize),
    /// A line of text that is being typed, in the row of the news.
    Entry(Entry),
}

impl Overlay {
    /// What a key means to it; `None` if nothing.
    pub(in crate::screen) fn action(&self, event: KeyEvent) -> Option<Action> {
        match self {
            Self::Entry(_) => entry_action(event),
            Self::References(_) => match event.code {
                KeyCode::Up => Some(Action::ChoiceUp),
                KeyCode::Down => Some(Action::ChoiceDown),
                KeyCode::Enter => Some(Action::TakeChoice),
                KeyCode::Esc | KeyCode::Char('0' | 'q' | 'Q') => Some(Action::Uncover),
                _ => None,
            },
            Self::Job(_) => match event.code {
                KeyCode::Up => Some(Action::ChoiceUp),
                KeyCode::Down => Some(Action::ChoiceDown),
                KeyCode::Enter => Some(Action::TakeChoice),
                KeyCode::Char(' ') | KeyCode::PageDown => Some(Action::PageOn),
                KeyCode::Backspace | KeyCode::PageUp => Some(Action::PageBack),
                KeyCode::Esc | KeyCode::Char('9' | 'q' | 'Q') => Some(Action::Uncover),
                _ => None,
            },
            Self::Help(_) | Self::Budget | Self::Card(_) | Self::Causes(_) => {
                self.page_action(event.code)
            }
        }
    }

    /// Pages are turned by the key that opened them and as in any pager; the
    /// last one closes.
    fn page_action(&self, code: KeyCode) -> Option<Action> {
        let own = match self {
            Self::Help(_) => ['?', 'h'],
            Self::Budget => ['i'; 2],
            Self::Causes(_) => ['8'; 2],
            _ => ['s'; 2],
        };
        match code {
            KeyCode::Char(letter) if own.contains(&letter.to_ascii_lowercase()) => {
                Some(Action::PageOn)
            }
            KeyCode::Char(' ') | KeyCode::Enter | KeyCode::PageDown => Some(Action::PageOn),
            KeyCode::Backspace | KeyCode::PageUp => Some(Action::PageBack),
            KeyCode::Esc | KeyCode::Char('q' | 'Q') => Some(Action::Uncover),
            _ => None,
        }
    }
}

/// While a line is typed, letters are letters.
fn entry_action(event: KeyEvent) -> Option<Action> {
    let control = event.modifiers.contains(KeyModifiers::CONTROL);
    match event.code {
        KeyCode::Char('u') if control => Some(Action::EraseAll),
        KeyCode::Char(letter) if !control => Some(Action::Letter(letter)),
        KeyCode::Backspace => Some(Action::Erase),
        KeyCode::Enter => Some(Action::Accept),
        KeyCode::Esc => Some(Action::Uncover),
        _ => None,
    }
}

impl ScreenState {
    /// Lays something over the screen.
    pub(in crate::screen) fn cover(&mut self, overlay: Overlay) -> Vec<Effect> {
        self.overlay = Some(overlay);
        Vec::new()
    }

    /// The next page, or the one before. How many there are is known where they
    /// are drawn: see what a press of a key does.
    pub(in crate::screen) fn turn_page(&mut self, on: bool) -> Vec<Effect> {
        match &mut self.overlay {
            Some(Overlay::Help(page) | Overlay::Card(page) | Overlay::Causes(page)) => {
                *page = if on {
                    *page + 1
                } else {
                    page.saturating_sub(1)
                };
            }
            Some(Overlay::Budget) if on => self.overlay = None,
            Some(Overlay::Job(_)) => {
                let page = self.job_page();
                self.move_in_job(if on { page } else { -page });
            }
            _ => {}
        }
        Vec::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::state::{EntryFor, SourceKind};
    use crate::screen::{keys, specimen};

    /// Everything that a keyboard sends.
    fn all_keys() -> Vec<KeyEvent> {
        use KeyCode::{
            BackTab, Backspace, Delete, Down, End, Enter, Esc, F, Home, Insert, Left, PageDown,
            PageUp, Right, Tab, Up,
        };
        let named = [
            BackTab, Backspace, Delete, Down, End, Enter, Esc, Home, Insert, Left, PageDown,
            PageUp, Right, Tab, Up,
        ];
        let letters = (' '..='~').chain(['±', 'é']).map(KeyCode::Char);
        let codes = letters.chain(named).chain((1..=12).map(F));
        let (none, shift, control) = (
            KeyModifiers::NONE,
            KeyModifiers::SHIFT,
            KeyModifiers::CONTROL,
        );
        codes
            .flat_map(|code| [none, shift, control].map(|held| KeyEvent::new(code, held)))
            .collect()
    }

    fn overlays() -> Vec<Overlay> {
        vec![
            Overlay::Help(0),
            Overlay::Budget,
            Overlay::Card(0),
            Overlay::Causes(0),
            Overlay::References(1),
            Overlay::Job(0),
            Overlay::Entry(Entry {
                purpose: EntryFor::Note,
                text: "abc".to_owned(),
            }),
        ]
    }

    /// Everything but what lies over the screen.
    fn rest(state: &ScreenState) -> String {
        let mut rest = state.clone();
        rest.overlay = None;
        format!("{rest:?}")
    }

    /// Taking a line of the list, or the line that was typed, is what these
    /// are for; all else leaves everything behind them as it was.
    #[test]
    fn nothing_happens_behind_what_lies_over_the_screen() {
        for kind in [SourceKind::Input, SourceKind::Rehearsal] {
            for overlay in overlays() {
                let mut state = specimen::state(kind);
                let _ = state.take(specimen::live(1, specimen::reading(-1.0)));
                state.message = Some("what was said".to_owned());
                state.overlay = Some(overlay);
                let before = rest(&state);
                for key in all_keys() {
                    let mut state = state.clone();
                    let Some(action) = keys::action(key, &state) else {
                        continue;
                    };
                    if matches!(action, Action::TakeChoice | Action::Accept) {
                        continue;
                    }
                    let effects = state.act(action.clone());
                    assert!(rest(&state) == before, "{key:?}: {action:?}");
                    let of_the_terminal = |effect: &Effect| {
                        matches!(
                            effect,
                            Effect::Repaint | Effect::Suspend | Effect::Interrupt
                        )
                    };
                    assert!(effects.iter().all(of_the_terminal), "{key:?}: {effects:?}");
                }
            }
        }
    }
}
