//! References chosen while the screen stands: made ready on a thread of their
//! own, for a copy takes seconds to read, then put in force.

use std::cell::Cell;
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;

use super::cli::{ReferenceOptions, TapeError};
use super::copy;
use crate::screen::{Choice, Ready};

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
            let ready = copy::target(&choice.reference)
                .map(|target| (conditions, choice, target))
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

    /// What has become ready; only the newest choice counts.
    pub fn next_ready(&self) -> Option<Ready> {
        let (number, ready) = self.ready.try_recv().ok()?;
        (number == self.newest.get()).then_some(ready)
    }
}
