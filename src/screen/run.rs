//! The loop of the live screen: takes the newest state, takes keys, draws.
//!
//! It draws when there is something new, at most thirty times a second, and
//! at once after a key.

use std::io;
use std::sync::Arc;
use std::time::{Duration, Instant};

use crossterm::event::{self, Event, KeyEventKind};
use signal_hook::consts::{SIGHUP, SIGINT};

use super::press::press;
use super::state::{Effect, ScreenState};
use super::terminal::{self, Terminal, Waited};
use crate::audio::analysis::{LiveState, SourceState};
use crate::audio::rehearsal_source::BenchStatus;

/// Thirty frames a second.
const FRAME: Duration = Duration::from_nanos(1_000_000_000 / 30);

/// What lies outside of the screen.
pub struct Outside<'a> {
    /// The newest state of the analysis.
    pub newest: &'a mut dyn FnMut() -> Arc<LiveState>,
    /// How the simulated machine stands, if there is one.
    pub bench: &'a mut dyn FnMut() -> Option<BenchStatus>,
    /// Says by ear what the screen shows; true where that has changed.
    pub by_ear: &'a mut dyn FnMut(&mut ScreenState) -> bool,
    /// What was saved since it was asked last: the number of the snapshot, and
    /// where it lies now or why it does not.
    pub saved: &'a mut dyn FnMut() -> Option<(u32, Result<String, String>)>,
    /// Carries an effect out; what comes of it goes into the state.
    pub carry_out: &'a mut dyn FnMut(Effect, &mut ScreenState),
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
    outside: &mut Outside,
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
        anew |= (outside.by_ear)(state);
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
fn take_newest(state: &mut ScreenState, outside: &mut Outside) -> bool {
    let bench = (outside.bench)();
    let turned = bench != state.bench;
    if turned {
        for effect in state.take_bench(bench) {
            (outside.carry_out)(effect, state);
        }
    }
    let mut reported = false;
    while let Some((number, result)) = (outside.saved)() {
        state.saved(number, result);
        reported = true;
    }
    let newest = (outside.newest)();
    if newest.sequence == state.live.sequence && newest.source == state.live.source {
        return turned || reported;
    }
    for effect in state.take(newest) {
        (outside.carry_out)(effect, state);
    }
    true
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
    outside: &mut Outside,
) -> io::Result<Taken> {
    let mut taken = Taken::Nothing;
    while event::poll(Duration::ZERO)? {
        match event::read()? {
            Event::Key(key) if key.kind != KeyEventKind::Release => {
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
    outside: &mut Outside,
) -> io::Result<Option<Ending>> {
    match effect {
        Effect::Quit => return Ok(Some(Ending::Quit)),
        Effect::Interrupt => {
            return Ok(Some(Ending::Signal(SIGINT)));
        }
        Effect::Suspend => suspend(terminal, state)?,
        Effect::Repaint => terminal.repaint()?,
        other => (outside.carry_out)(other, state),
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
