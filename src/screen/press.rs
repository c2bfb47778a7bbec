//! What a key does.

use crossterm::event::KeyEvent;

use super::keys;
use super::panels::{card, causes, help};
use super::state::action::Action;
use super::state::overlay::Overlay;
use super::state::{Effect, ScreenState};

/// Carries out what a key means now; `None` if it means nothing.
pub fn press(event: KeyEvent, state: &mut ScreenState) -> Option<Vec<Effect>> {
    let action = keys::action(event, state)?;
    let closes = action == Action::PageOn && is_last_page(state);
    Some(state.act(if closes { Action::Uncover } else { action }))
}

fn is_last_page(state: &ScreenState) -> bool {
    match state.overlay {
        Some(Overlay::Help(page)) => page + 1 >= help::pages(state),
        Some(Overlay::Card(page)) => page + 1 >= card::pages(state),
        Some(Overlay::Causes(page)) => page + 1 >= causes::pages(state),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use crossterm::event::{KeyCode, KeyModifiers};

    use super::*;
    use crate::screen::specimen;
    use crate::screen::state::SourceKind;

    #[test]
    fn pages_are_turned_on_and_back_and_close_after_the_last() {
        let mut state = specimen::state(SourceKind::Input);
        let key = |code| KeyEvent::new(code, KeyModifiers::NONE);
        for first in [Overlay::Help(0), Overlay::Card(0)] {
            state.size = (50, 14);
            state.overlay = Some(first.clone());
            let mut pages = 1;
            assert!(press(key(KeyCode::Backspace), &mut state).is_some());
            assert_eq!(state.overlay, Some(first));
            while state.overlay.is_some() {
                assert!(press(key(KeyCode::Char(' ')), &mut state).is_some());
                pages += 1;
                assert!(pages < 100);
            }
            assert!(pages > 2);
        }
    }
}
