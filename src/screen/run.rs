//! The loop of the live screen: takes the newest state, takes keys, draws.
//!
//! It draws when there is something new, at most thirty times a second, and
//! at once after a key.

use std::io;
use std::time::{Duration, Instant};

use crossterm::event::{self, KeyEventKind};
use signal_hook::consts::{SIGHUP, SIGINT};

use super::press::press;
use super::state::event::Event;
use super::state::{Effect, ScreenState};
use super::terminal::{self, Terminal, Waited};
use crate::audio::analysis::SourceState;

/// Thirty frames a second.
const FRAME: Duration = Duration::from_nanos(1_000_000_000 / 30);

/// What lies outside of the screen.
pub trait Outside {
    /// What has happened since it was asked last; never waits. The newest of the
    /// analysis and of the simulated machine may come again.
    fn news(&mut self) -> Vec<Event>;

    /// Says by ear what the screen shows; true where that has changed.
    fn by_ear(&mut self, state: &mut ScreenState) -> bool;

    /// Carries an effect out; what comes of it at once.
    fn carry_out(&mut self, effect: Effect) -> Option<Event>;
}

/// How a sitting at the screen ends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ending {
    /// By the key for it.
    Quit,
    /// By a signal.
    Signal(i32),
    /// The source failed before it gave anything.
    SourceFailed(String),
    /// A thread has panicked.
    Panicked,
}

/// Runs until something ends it; the terminal is still taken then.
pub fn run(
    terminal: &mut Terminal,
    state: &mut ScreenState,
    outside: &mut dyn Outside,
) -> io::Result<Ending> {
    let mut next_frame = Instant::now();
    let mut anew = true;
    loop {
        if terminal::has_panicked() {
            return Ok(Ending::Panicked);
        }
        if let Some(signal) = terminal.ending_signal() {
            return Ok(Ending::Signal(signal));
        }
        if terminal.was_asked_to_stop() {
            suspend(terminal, state)?;
            anew = true;
        }
        if terminal.was_continued() {
            terminal.retake()?;
            anew = true;
        }
        anew |= take_newest(state, outside);
        anew |= outside.by_ear(state);
        if let Some(reason) = failed_early(state) {
            return Ok(Ending::SourceFailed(reason));
        }
        let size = terminal.size()?;
        anew |= size != state.size;
        let now = Instant::now();
        if anew && now >= next_frame {
            state.size = size;
            terminal.draw(state)?;
            next_frame = now + FRAME;
            anew = false;
        }
        let wait = next_frame.saturating_duration_since(now).max(FRAME / 4);
        match terminal.wait_for_keys(wait)? {
            Waited::Gone => return Ok(Ending::Signal(SIGHUP)),
            // Events are taken without a key too: crossterm loses a key that
            // it finds together with a change of size, until the next key.
            Waited::Nothing | Waited::Keys => {}
        }
        match take_events(terminal, state, outside)? {
            Taken::Ending(ending) => return Ok(ending),
            Taken::Something => {
                anew = true;
                next_frame = Instant::now();
            }
            Taken::Nothing => {}
        }
    }
}

/// Takes what is new; says whether anything was.
fn take_newest(state: &mut ScreenState, outside: &mut dyn Outside) -> bool {
    let mut anew = false;
    for event in outside.news() {
        if event.is_known(state) {
            continue;
        }
        anew = true;
        for effect in state.update(event) {
            carry_on(effect, state, outside);
        }
    }
    anew
}

/// Carries an effect out, and what follows from what comes of it.
fn carry_on(effect: Effect, state: &mut ScreenState, outside: &mut dyn Outside) {
    if let Some(event) = outside.carry_out(effect) {
        for effect in state.update(event) {
            carry_on(effect, state, outside);
        }
    }
}

/// A source that never gave anything leaves nothing to look at: its sentence
/// belongs on the shell.
fn failed_early(state: &ScreenState) -> Option<String> {
    match (&state.live.source, state.reading()) {
        (SourceState::Failed { reason }, None) => Some(reason.clone()),
        _ => None,
    }
}

enum Taken {
    Nothing,
    Something,
    Ending(Ending),
}

/// Takes all events that wait, so that a key held down never lags behind.
fn take_events(
    terminal: &mut Terminal,
    state: &mut ScreenState,
    outside: &mut dyn Outside,
) -> io::Result<Taken> {
    let mut taken = Taken::Nothing;
    while event::poll(Duration::ZERO)? {
        match event::read()? {
            event::Event::Key(key) if key.kind != KeyEventKind::Release => {
                let Some(effects) = press(key, state) else {
                    continue;
                };
                for effect in effects {
                    if let Some(ending) = carry_out(effect, terminal, state, outside)? {
                        return Ok(Taken::Ending(ending));
                    }
                }
                taken = Taken::Something;
            }
            // The size is looked at before every frame.
            _ => {}
        }
    }
    Ok(taken)
}

fn carry_out(
    effect: Effect,
    terminal: &mut Terminal,
    state: &mut ScreenState,
    outside: &mut dyn Outside,
) -> io::Result<Option<Ending>> {
    match effect {
        Effect::Quit => return Ok(Some(Ending::Quit)),
        Effect::Interrupt => {
            return Ok(Some(Ending::Signal(SIGINT)));
        }
        Effect::Suspend => suspend(terminal, state)?,
        Effect::Repaint => terminal.repaint()?,
        other => carry_on(other, state, outside),
    }
    Ok(None)
}

/// Hands the terminal to the shell for a while.
fn suspend(terminal: &mut Terminal, state: &mut ScreenState) -> io::Result<()> {
    if !terminal.suspend()? {
        state.message = Some("there is no shell to go back to".to_owned());
    }
    Ok(())
}
