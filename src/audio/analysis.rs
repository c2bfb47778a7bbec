//! The analysis thread: any source → ring → engine → newest state.
//!
//! The screen takes the newest [`LiveState`] without waiting; requests go the
//! other way through a channel. What the engine measures depends on the
//! samples alone; this thread only carries them.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender};

use arc_swap::ArcSwap;

use super::source::{SourceEvent, StreamFormat};
use crate::readings::{ChannelChoice, Conditions, KeepRequest, Nominal, Reading};
use crate::units::Percent;

/// What the screen shows, newest first and whole.
#[derive(Clone, Debug, Default)]
pub struct LiveState {
    /// Counts up with every new state, so that a reader sees whether it is new.
    pub sequence: u64,
    /// How the source is.
    pub source: SourceState,
    /// `None` before the first samples.
    pub reading: Option<Arc<Reading>>,
    /// Frames that found no room in the ring, so far.
    pub overrun_frames: u64,
}

/// How the source is.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum SourceState {
    /// Not yet connected.
    #[default]
    Opening,
    /// Samples come.
    Running {
        /// What to call it.
        name: String,
        /// Rate and channels.
        format: StreamFormat,
    },
    /// Gone; waited for. The last reading stays, but is no longer live.
    Lost {
        /// What it was called.
        name: String,
        /// What happened.
        reason: String,
    },
    /// A recording has come to its end.
    Ended {
        /// What it was called.
        name: String,
    },
    /// It cannot go on.
    Failed {
        /// What happened and what to do.
        reason: String,
    },
}

/// What the screen may ask of the analysis.
#[derive(Clone, Debug)]
pub enum Request {
    /// Another nominal tone.
    Nominal(Nominal),
    /// Another tolerance band.
    Tolerance(Percent),
    /// Keep a stretch.
    Keep(KeepRequest),
    /// Stop keeping, or forget what is done.
    ForgetKept,
}

/// The screen's end of a running analysis. Dropping it ends the thread.
pub struct Analysis {
    newest: Arc<ArcSwap<LiveState>>,
    requests: Sender<Request>,
}

impl Analysis {
    /// Starts the thread on the events of a source.
    pub fn start(
        events: Receiver<SourceEvent>,
        conditions: Conditions,
        choice: ChannelChoice,
        tolerance: Percent,
    ) -> std::io::Result<Self> {
        let _ = (events, conditions, choice, tolerance);
        todo!()
    }

    /// The newest state; never waits.
    pub fn newest(&self) -> Arc<LiveState> {
        self.newest.load_full()
    }

    /// Asks for something; it takes effect with the next samples.
    pub fn ask(&self, request: Request) {
        // A thread that has ended has nothing left to change.
        let _ = self.requests.send(request);
    }
}
