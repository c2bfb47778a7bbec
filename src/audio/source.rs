//! What every source of samples tells the analysis thread.

use std::sync::mpsc::Sender;

use super::ring::RingReader;

/// The format of a stream.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StreamFormat {
    /// Samples a second.
    pub rate_hz: u32,
    /// Interleaved channels.
    pub channels: u16,
}

/// What a source has to say, in order. A source runs on a thread of its own
/// and ends when sending fails, because then nobody listens any more.
pub enum SourceEvent {
    /// Samples come out of this ring from now on; the ring before, if any, is
    /// done with. Between two of these lies a gap.
    Connected {
        /// Rate and channels of the ring.
        format: StreamFormat,
        /// Where the samples come out.
        reader: RingReader,
        /// What to call the source on screen and in records. By another name
        /// than before it is another source, which stands in for one that
        /// stayed away.
        name: String,
        /// By its name it is the one before, but it need not be: where the
        /// sound settings decide, it counts as another.
        may_be_another: bool,
    },
    /// The input is gone; the source waits for it to return.
    Lost {
        /// One sentence: what happened.
        reason: String,
    },
    /// The source gave all it had.
    Ended,
    /// The source cannot go on.
    Failed {
        /// One sentence: what happened, what was found, what to do next.
        reason: String,
    },
}

/// Where a source sends its events.
pub type SourceEvents = Sender<SourceEvent>;
