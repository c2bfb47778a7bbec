//! Ctrl-C and its like while something is done that must end in good order.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};

use crate::screen::terminal;

/// Notes that the program was asked to end; a second time ends it as usual.
pub(super) struct Interrupt(Arc<AtomicUsize>);

impl Interrupt {
    /// From now on.
    pub(super) fn listen() -> Self {
        let asked = Arc::new(AtomicBool::new(false));
        let by = Arc::new(AtomicUsize::new(0));
        for signal in [SIGINT, SIGTERM, SIGHUP] {
            let number = usize::try_from(signal).unwrap_or_default();
            // Without a handler the signal ends the program as usual.
            let _ = signal_hook::flag::register_conditional_default(signal, Arc::clone(&asked))
                .and_then(|_| signal_hook::flag::register(signal, Arc::clone(&asked)))
                .and_then(|_| signal_hook::flag::register_usize(signal, Arc::clone(&by), number));
        }
        Self(by)
    }

    /// Whether it was asked to end.
    pub(super) fn came(&self) -> bool {
        self.0.load(Ordering::Relaxed) != 0
    }

    /// Ends the program by the signal that asked, if one did.
    pub(super) fn end_by_it(&self) {
        if let Ok(signal @ 1..) = i32::try_from(self.0.load(Ordering::Relaxed)) {
            terminal::end_by(signal);
        }
    }
}
