//! References chosen while the screen stands: made ready on a thread of their
//! own, for a copy takes seconds to read, then put in force.

use std::cell::Cell;
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;

use super::cli::{ReferenceOptions, TapeError};
use super::{Failure, copy};
use crate::audio::analysis::{Analysis, Request};
use crate::readings::{Conditions, Yardstick};
use crate::references::Reference;
use crate::screen::{Choice, ScreenState};

/// What is ready, or why it is not.
type Ready = Result<(Conditions, Choice, Yardstick), String>;

/// The number of a choice; only the newest counts.
type Number = u64;

/// See the module.
pub(super) struct Chooser {
    /// What the command line said of the tape.
    said: ReferenceOptions,
    newest: Cell<Number>,
    tell: Sender<(Number, Ready)>,
    ready: Receiver<(Number, Ready)>,
}

impl Chooser {
    pub fn new(said: ReferenceOptions) -> Self {
        let (tell, ready) = mpsc::channel();
        Self {
            said,
            newest: Cell::new(0),
            tell,
            ready,
        }
    }

    /// Begins to make a choice ready, for a machine of this name.
    pub fn prepare(&self, choice: Choice, machine: Option<String>) {
        let mut said = self.said.clone();
        let reference = (!choice.is_assumed).then(|| choice.reference.clone());
        said.say(reference, choice.card.clone());
        if choice.home_made {
            said.tape_error = Some(TapeError::HomeMade);
        } else if said.tape_error == Some(TapeError::HomeMade) {
            said.tape_error = None;
        }
        let number = self.newest.get() + 1;
        self.newest.set(number);
        let tell = self.tell.clone();
        let work = move || {
            let conditions = said.conditions(machine.as_deref());
            let ready = yardstick(&choice.reference)
                .map(|yardstick| (conditions, choice, yardstick))
                .map_err(|failure| failure.message);
            // The screen may have been left meanwhile.
            let _ = tell.send((number, ready));
        };
        let started = thread::Builder::new().name("reference".into()).spawn(work);
        if let Err(error) = started {
            let reason =
                format!("no thread could be started ({error}); close other programs and try again");
            let _ = self.tell.send((number, Err(reason)));
        }
    }

    /// Puts in force what has become ready; true where the screen changes.
    pub fn follow(&self, state: &mut ScreenState, analysis: &Analysis) -> bool {
        let Ok((number, ready)) = self.ready.try_recv() else {
            return false;
        };
        if number != self.newest.get() {
            return false;
        }
        if state.is_checking() {
            let reason = "a check was begun meanwhile; choose again after it".to_owned();
            state.reference_taken(Err(reason));
            return true;
        }
        state.reference_taken(ready.map(|(conditions, choice, yardstick)| {
            analysis.ask(Request::Reference(conditions, yardstick));
            (conditions, choice)
        }));
        true
    }
}

/// What is measured by; a copy is read and made ready here.
pub(super) fn yardstick(reference: &Reference) -> Result<Yardstick, Failure> {
    Ok(match reference {
        Reference::Passage(time) | Reference::Marks(time) => Yardstick::Time(*time),
        Reference::Tone(_) | Reference::ToneAuto | Reference::Note(..) => Yardstick::Frequency,
        Reference::Recording(_) => match copy::of(reference)? {
            Some(copy) => Yardstick::Copy(copy),
            None => Yardstick::Frequency,
        },
    })
}
